package main

import (
	"cmp"
	"errors"
	"fmt"
	"net"
	"net/http"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/sys/unix"
	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/cli"
	"telltale/notify/board"
	"telltale/notify/board/frame"
	"telltale/rules/source"
)

// boarding says where the board's pages are.
type boarding struct {
	// Listen is where they are served, host:port on the loopback; "" for nowhere.
	Listen string
	// URL is how people reach them, for codes on paper; http:// and where they are served
	// where empty.
	URL string
	// written: the settings name the address, so that no other may stand in for it.
	written bool
}

// boardListen is where the pages are served where the settings do not say.
const boardListen = "127.0.0.1:4280"

func readBoard(s *source.Document, n *yaml.Node) boarding {
	m := s.Mapping(n, "board", "listen", "url")
	b := boarding{Listen: boardListen}
	if l := m["listen"]; l != nil {
		b.written = true
		if b.Listen = s.Text(l, "listen"); b.Listen == "off" {
			b.Listen = ""
		} else if !loopback(b.Listen) {
			s.Fault(l, "write listen: "+boardListen, "the board can only be served on the loopback, not on %q", b.Listen)
		}
	}
	if u := m["url"]; u != nil {
		b.URL = webAddress(s, u)
	}
	return b
}

// startBoard serves the board's pages. Where the settings name no address and the usual
// one is taken, as by the service of another folder, any free one does.
func (a *app) startBoard() error {
	set := a.fleet.set.Board
	if set.Listen == "" {
		return nil
	}
	l, err := net.Listen("tcp", set.Listen)
	if err != nil && !set.written {
		l, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return cli.Hint(fmt.Errorf("serving the board: %w", err), "name a free port under board: in "+filepath.Join(a.fleet.dir, "telltale.yaml"))
	}
	a.look = "http://" + l.Addr().String()
	if a.live, err = frame.Follow(a.nc); err != nil {
		return errors.Join(err, l.Close())
	}
	f := &frame.Frame{Live: a.live, Service: a.svc, Log: a.log, People: a.notify.Directory, Now: a.now, Dir: a.fleet.dir, Reads: a.fleet.set.Reads,
		URL: cmp.Or(strings.TrimSuffix(set.URL, "/"), a.look), From: a.fleet.set.Mail.From, Logger: a.logger, Own: a.own()}
	a.board = frame.Server(board.Handler(f))
	go func() {
		if err := a.board.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			a.logger.Error("serving the board", "error", err)
		}
	}()
	return nil
}

// own is what the board's page of the service tells, and the log does not know.
func (a *app) own() frame.Own {
	o := frame.Own{Suspect: a.suspect.Load, NATS: a.fleet.set.NATS}
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
