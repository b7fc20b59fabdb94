package certificate

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/signal"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"github.com/fsnotify/fsnotify"
)

// Keeper has the pair in force.
type Keeper struct {
	files Files
	hosts []string
	now   func() time.Time
	log   *slog.Logger

	held atomic.Pointer[pair]

	mu    sync.Mutex
	fault string // what was wrong when the files were read last; "" for nothing
}

// Open reads a pair for the first time. hosts are the names and addresses under which
// people come; one of them must be the certificate's, where any is known. One that has ended
// is no fault here: it is said in the log, and the service starts, because people must hear
// of alarms all the same.
func Open(files Files, hosts []string, log *slog.Logger) (*Keeper, error) {
	return open(files, hosts, time.Now, log)
}

func open(files Files, hosts []string, now func() time.Time, log *slog.Logger) (*Keeper, error) {
	k := &Keeper{files: files, hosts: hosts, now: now, log: log}
	p, err := files.read()
	if err != nil {
		return nil, err
	}
	if err := p.fits(files, hosts, p.leaf().NotAfter); err != nil { // whatever the day
		return nil, err
	}
	k.held.Store(p)
	k.note(p.fits(files, hosts, now()))
	if info, err := os.Stat(files.Key); err == nil && info.Mode().Perm()&0o007 != 0 {
		log.Warn("every user of this machine can read the certificate's key, and could stand in for the service", "hint", "chmod o= "+files.Key)
	}
	return k, nil
}

// TLS is how to serve with the pair in force: TLS 1.2 and up, with Go's own choice of
// suites (ASVS 5.0.0, 12.1.1 and 12.1.2). Connections that stand keep what they began with.
func (k *Keeper) TLS() *tls.Config {
	return &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) {
		return &k.held.Load().cert, nil
	}}
}

// Ends is when the certificate in force ends, and whom it is for.
func (k *Keeper) Ends() (ends time.Time, of []string) {
	c := k.held.Load().leaf()
	return c.NotAfter, names(c)
}

// Fault is what was wrong with the files when they were read last; "" for nothing.
func (k *Keeper) Fault() string {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.fault
}

const (
	// settles is how long the files must be quiet before they are read: a pair is written
	// one file after the other.
	settles = 300 * time.Millisecond
	// again is how often they are read though nothing was seen to change: a link that leads
	// elsewhere, or a disk of the network, is not always heard of.
	again = time.Minute
	// patience is how long they may be unquiet: other programs may write into their folder
	// all the time.
	patience = 10 * settles
)

// Run reads the files again when they change, and when the process gets a hang-up signal,
// until ctx ends.
func (k *Keeper) Run(ctx context.Context) error {
	w, err := k.watch()
	if err != nil { // which is no reason to end: they are read each minute all the same
		k.log.Warn("changes of the certificate are seen within a minute", "error", err)
		w = &fsnotify.Watcher{}
	} else {
		defer w.Close()
	}
	hangup := make(chan os.Signal, 1)
	signal.Notify(hangup, syscall.SIGHUP)
	defer signal.Stop(hangup)
	quiet := time.NewTimer(settles) // for what changed before it was watched
	var since time.Time             // when they became unquiet
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-hangup:
			k.Again()
		case <-w.Events: // a link may lead there under any name, so whatever it is about
			if since.IsZero() {
				since = time.Now()
			}
			if time.Since(since) < patience {
				quiet.Reset(settles)
			}
		case err := <-w.Errors:
			k.log.Warn("watching the certificate", "error", err)
		case <-quiet.C:
			since = time.Time{}
			k.Again()
			quiet.Reset(again)
		}
	}
}

// watch sees what changes where the files lie: a file that is put in the place of another
// is another file, so the folders are watched.
func (k *Keeper) watch() (*fsnotify.Watcher, error) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return nil, fmt.Errorf("watching the certificate: %w", err)
	}
	for _, path := range []string{k.files.Certificate, k.files.Key} {
		if err := w.Add(filepath.Dir(path)); err != nil {
			return nil, errors.Join(fmt.Errorf("watching the certificate in %s: %w", filepath.Dir(path), err), w.Close())
		}
	}
	return w, nil
}

// Again reads the files once more. What can be used is in force for the next connection;
// what cannot leaves what was, and is said once.
func (k *Keeper) Again() {
	p, err := k.files.read()
	if err == nil && !k.held.Load().same(p) {
		if err = p.fits(k.files, k.hosts, k.now()); err == nil {
			k.held.Store(p)
			ends, of := k.Ends()
			k.log.Info("certificate read again", "for", of, "until", ends.UTC().Format(time.RFC3339))
		}
	} else if err == nil {
		err = p.fits(k.files, k.hosts, k.now()) // it may have ended by now
	}
	k.note(err)
}

// note keeps what is wrong, and says it once.
func (k *Keeper) note(err error) {
	text, hint := "", ""
	if f, ok := errors.AsType[*Fault](err); ok {
		text, hint = f.Text, f.Hint
	} else if err != nil {
		text = err.Error()
	}
	k.mu.Lock()
	before := k.fault
	k.fault = text
	k.mu.Unlock()
	switch {
	case text == before:
	case text != "":
		k.log.Error("the certificate needs seeing to; the one in force stays", "fault", text, "hint", hint)
	default:
		k.log.Info("the certificate is right again")
	}
}
