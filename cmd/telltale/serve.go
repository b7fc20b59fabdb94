package main

import (
	"context"
	"fmt"
	"path/filepath"
	"time"

	"github.com/fsnotify/fsnotify"
	"github.com/spf13/cobra"

	"telltale/notify"
)

func serveCommand(s streams) *cobra.Command {
	var dir, natsURL, listen string
	cmd := &cobra.Command{
		Use:   "serve --dir DIR",
		Short: "Run the service of a folder: its rules, vehicles, people and settings",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f, err := loadFleet(dir)
			if err != nil {
				return err
			}
			if natsURL != "" {
				f.set.NATS = natsURL
			}
			if listen != "" {
				f.set.Listen = listen
			}
			return serve(cmd.Context(), s, f)
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "folder with rules/, vehicles.yaml, people.yaml, telltale.yaml")
	cmd.Flags().StringVar(&natsURL, "nats", "", "join this NATS server instead of embedding one")
	cmd.Flags().StringVar(&listen, "listen", "", "where the embedded NATS server listens (host:port, port -1 for any)")
	return cmd
}

func serve(ctx context.Context, s streams, f *fleet) error {
	logger := newLogger(s.err)
	a, err := startApp(ctx, f, logger, func(path string) { logger.Info("mail written", "file", path) })
	if err != nil {
		if ctx.Err() != nil {
			return nil // stopped while it was coming up
		}
		return err
	}
	fmt.Fprintf(s.err, "serving %s at %s, %d rules, %d tasks; stop with Ctrl-C\n", f.dir, a.url(), len(f.book.Rules), len(f.book.Tasks))
	work, halt := context.WithCancel(ctx) // until the interrupt, or until something fails
	defer halt()
	context.AfterFunc(a.life, halt)
	a.group.Go(func() error { return unlessStopped(work, a.watch(work)) })
	a.group.Go(func() error {
		if f.set.Clock == "events" {
			return unlessStopped(work, a.log.FollowEvents(work))
		}
		return unlessStopped(work, a.wallClock(work))
	})
	select {
	case <-work.Done():
	case <-a.svc.Done():
		halt()
	}
	return a.stop() // which says what had failed
}

func unlessStopped(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return nil
	}
	return err
}

// settleTime is how long a folder must be quiet before it is read again: editors
// write a file in several steps.
const settleTime = 300 * time.Millisecond

// watch reads the folder again when its files change. A fault keeps what is in
// force.
func (a *app) watch(ctx context.Context) error {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return fmt.Errorf("watching the folder: %w", err)
	}
	defer w.Close()
	for _, dir := range []string{a.fleet.dir, filepath.Join(a.fleet.dir, "rules")} {
		if err := w.Add(dir); err != nil {
			return fmt.Errorf("watching %s: %w", dir, err)
		}
	}
	quiet := time.NewTimer(time.Hour)
	for {
		select {
		case <-ctx.Done():
			return nil
		case e := <-w.Events:
			if filepath.Ext(e.Name) == ".yaml" || filepath.Ext(e.Name) == ".yml" {
				quiet.Reset(settleTime)
			}
		case err := <-w.Errors:
			a.logger.Error("watching the folder", "error", err)
		case <-quiet.C:
			a.reload(ctx)
			quiet.Reset(time.Hour) // also catches what the watcher missed
		}
	}
}

// reload puts what the folder holds now in force, or says what is wrong with it.
func (a *app) reload(ctx context.Context) {
	a.read.Store(time.Now().Unix())
	f, err := loadFleet(a.fleet.dir)
	if err == nil {
		if f.people == nil {
			f.people = &notify.Directory{}
		}
		a.notify.SetDirectory(f.people)
		err = a.adopt(ctx, f)
	}
	if err != nil && ctx.Err() == nil {
		a.logger.Error("the folder has faults; what was in force stays in force", "faults", err)
		a.fault.Store(err.Error())
		return
	}
	a.fault.Store("")
}
