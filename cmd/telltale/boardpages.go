package main

import (
	"cmp"
	"errors"
	"fmt"
	"net"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"

	"telltale/cmd/telltale/internal/cli"
	"telltale/notify/board"
	"telltale/notify/board/frame"
	"telltale/notify/board/limits"
	"telltale/notify/programs/post"
)

// startBoard serves the board's pages. Where the settings name no address and the usual
// one is taken, as by the service of another folder, any free one does.
func (a *app) startBoard() error {
	set := a.fleet.set.Board
	if set.Listen == "" {
		return nil
	}
	l, err := net.Listen("tcp", set.Listen)
	if err != nil && !set.Written {
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return cli.Hint(fmt.Errorf("serving the board: %w", err), "name a free port under board: in "+filepath.Join(a.fleet.dir, "telltale.yaml"))
	}
	a.look = a.fleet.set.Reached(l)
	if a.live, err = frame.Follow(a.nc); err != nil {
		return errors.Join(err, l.Close())
	}
	f := &frame.Frame{Live: a.live, Service: a.svc, Log: a.log, People: a.notify.Directory, Now: a.now, Dir: a.fleet.dir, Reads: a.fleet.set.Reads,
		URL: cmp.Or(strings.TrimSuffix(set.URL, "/"), a.look), From: a.fleet.set.Mail.From, Logger: a.logger, Own: a.own(), Audit: a.trail.Log}
	f.Proxies, f.Limits = a.fleet.set.Proxies, limits.NewPages()
	f.Asks = func() bool { return a.fleet.set.SignsIn(a.notify.Directory().HasRights()) }
	board.Entrance(f, set.Fleet)
	if f.Asks() && !a.notify.Directory().Runs() {
		a.logger.Warn("people sign in to the board, and none of them may see how the service runs", "hint", "name an operator in "+filepath.Join(a.fleet.dir, "people.yaml"))
	}
	a.board = a.fleet.set.Serve(l, set.Listen, "the board", (&post.Handler{Gate: a.gate, Log: a.log, Service: a.svc, Logger: a.logger, Proxies: f.Proxies}).Beside(board.Handler(f)), a.pair, a.logger)
	return nil
}

// own is what the board's page of the service tells, and the log does not know.
func (a *app) own() frame.Own {
	o := frame.Own{Suspect: a.suspect.Load, NATS: a.fleet.set.NATS, Gate: a.gate}
	o.Folder = func() (string, time.Time) {
		faults, _ := a.fault.Load().(string)
		return faults, time.Unix(a.read.Load(), 0)
	}
	o.Held = func() map[string]string {
		if q := a.notify.Queue(); q != nil {
			return q.Held()
		}
		return nil // another replica sends
	}
	if a.pair != nil {
		o.Certificate = func() (time.Time, []string, string) {
			ends, of := a.pair.Ends()
			return ends, of, a.pair.Fault()
		}
	}
	if a.server != nil {
		o.Disk = func() (free, size uint64, err error) { return diskOf(a.fleet.dir) }
	}
	return o
}

// diskOf is how much of the disk under a folder is free, and its size.
func diskOf(dir string) (free, size uint64, err error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, 0, fmt.Errorf("looking at the disk: %w", err)
	}
	return uint64(s.Bavail) * uint64(s.Bsize), uint64(s.Blocks) * uint64(s.Bsize), nil
}
