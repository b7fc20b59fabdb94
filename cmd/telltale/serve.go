package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/fsnotify/fsnotify"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/stream/clock"
	"telltale/engine/stream/service"
	"telltale/notify/people"
	"telltale/rules/english"
)

func serveCommand(s cli.Env) *cobra.Command {
	var dir, natsURL, listen string
	cmd := &cobra.Command{
		Use:   "serve --dir DIR",
		Short: "Run the service of a fleet's folder",
		Long: `Run the service of a folder until Ctrl-C: it reads the folder's rules, vehicles, people and
settings, and reads them again when a file is saved. A file with mistakes changes
nothing, and the log says what is wrong. Without settings it runs its own NATS server,
reachable only from this machine, and writes mails as files into DIR/mail.`,
		Example: `  telltale serve --dir fleet
  telltale serve --dir fleet --listen 127.0.0.1:4223`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			f, err := loadFleet(dir)
			if err != nil {
				return err
			}
			f.set.NATS, f.set.Listen = cmp.Or(natsURL, f.set.NATS), cmp.Or(listen, f.set.Listen)
			if err := f.before(cmd.Context()); err != nil {
				return cli.Exit(2, err)
			}
			return serve(cmd.Context(), s, f)
		},
	}
	cmd.Flags().StringVar(&dir, "dir", ".", "folder with rules/, vehicles.yaml, people.yaml, telltale.yaml")
	cmd.Flags().StringVar(&natsURL, "nats", "", "use this NATS server instead of starting one")
	cmd.Flags().StringVar(&listen, "listen", "", "where the service's own NATS server listens (host:port; port -1 is any free one)")
	return cmd
}

func serve(ctx context.Context, s cli.Env, f *fleet) error {
	logger := cli.NewLogger(s.Err)
	a, err := startApp(ctx, f, logger, func(path string) { logger.Info("mail written", "file", path) })
	if err != nil {
		if ctx.Err() != nil {
			return nil // stopped while it was coming up
		}
		return err
	}
	if err := a.checkClock(ctx); err != nil {
		return errors.Join(err, a.stop())
	}
	w, err := a.watcher() // before it is said to be serving
	if err != nil {
		return errors.Join(err, a.stop())
	}
	if len(f.people.People()) == 0 {
		logger.Warn("no people named; no messages are sent", "hint", "name people in "+filepath.Join(f.dir, "people.yaml"))
	}
	fmt.Fprintf(s.Err, "serving %s at %s, %s, %s; stop with Ctrl-C\n", f.dir, a.url(), english.Plural(len(f.book.Rules), "rule"), english.Plural(len(f.book.Tasks), "task"))
	if a.look != "" {
		fmt.Fprintf(s.Err, "look: %s\n", a.look)
	}
	work, halt := context.WithCancel(ctx) // until the interrupt, or until something fails
	defer halt()
	context.AfterFunc(a.life, halt)
	a.group.Go(func() error { return unlessStopped(work, a.watch(work, w)) })
	a.svc.Hold(service.TicksSeat, func(ctx context.Context) error {
		tick := a.wallClock
		if f.set.Clock == "events" {
			tick = a.log.FollowEvents
		}
		return unlessStopped(ctx, tick(ctx))
	})
	select {
	case <-work.Done():
	case <-a.svc.Done():
		halt()
	}
	return a.stop() // which says what had failed
}

// checkClock refuses to go on from a log whose clock is far ahead of the wall's: the
// demo's year would be cleared by today's date.
func (a *app) checkClock(ctx context.Context) error {
	if a.fleet.set.Clock != "wall" {
		return nil
	}
	last, err := a.log.LastTick(ctx)
	if err != nil || !last.After(time.Now().Add(48*time.Hour)) {
		return err
	}
	return cli.Exit(2, cli.Hint(fmt.Errorf("the events in %s go up to %s, ahead of this machine's clock", a.fleet.dir, last.Format(time.DateOnly)),
		"start in another folder: telltale demo --files DIR copies the sample fleet without its events; or set clock: events"))
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

// readAgain is how often the folder is read though nothing was seen to change.
const readAgain = time.Minute

// watcher sees what is changed in the folder from its return on.
func (a *app) watcher() (*fsnotify.Watcher, error) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return nil, fmt.Errorf("watching the folder: %w", err)
	}
	for _, dir := range []string{a.fleet.dir, filepath.Join(a.fleet.dir, "rules")} {
		if err := w.Add(dir); err != nil {
			return nil, errors.Join(fmt.Errorf("watching %s: %w", dir, err), w.Close())
		}
	}
	return w, nil
}

// watch reads the folder again when its files change. A fault keeps what is in
// force.
func (a *app) watch(ctx context.Context, w *fsnotify.Watcher) error {
	defer w.Close()
	rulesDir := filepath.Join(a.fleet.dir, "rules")
	quiet := time.NewTimer(readAgain)
	for {
		select {
		case <-ctx.Done():
			return nil
		case e := <-w.Events:
			if ext := filepath.Ext(e.Name); ext == ".yaml" || ext == ".yml" || e.Name == rulesDir {
				quiet.Reset(settleTime)
			}
		case err := <-w.Errors:
			a.logger.Error("folder watch failed", "error", err)
		case <-quiet.C:
			_ = w.Add(rulesDir) // a folder that took its place has to be watched anew; reload says if it is gone
			a.reload(ctx)
			quiet.Reset(readAgain)
		}
	}
}

// reload puts what the folder holds now in force, or says what is wrong with it.
func (a *app) reload(ctx context.Context) {
	a.read.Store(time.Now().Unix())
	f, err := loadFleet(a.fleet.dir)
	if err == nil {
		err = a.fleet.lost(f)
	}
	if err == nil {
		a.notify.SetDirectory(f.people)
		err = errors.Join(a.gate.Set(ctx, f.people), a.adopt(ctx, f))
	}
	if err != nil && ctx.Err() == nil {
		if a.fault.Swap(err.Error()) != err.Error() {
			a.logger.Error("the folder has faults; the rules, vehicles and people in force stay as they are", "faults", err)
		}
		return
	}
	a.fault.Store("")
}

// wallClock publishes a tick each quarter of an hour, and first of all one for now.
func (a *app) wallClock(ctx context.Context) error {
	a.marks = nil // the lists are reckoned from the log's last tick
	defer a.suspect.Store(false)
	return clock.New(a.tick, a.tellClock).Run(ctx)
}

// tellClock tells the operator that ticks are held, or come again.
func (a *app) tellClock(suspect bool, off time.Duration) {
	a.suspect.Store(suspect)
	if suspect {
		a.logger.Error("the clock jumped: time-based tasks are paused until it is right again. If it is right now, restart the service",
			"jumped", off.Round(time.Second).String(), "wall", time.Now().UTC().Format(time.RFC3339))
		return
	}
	a.logger.Info("the clock is right again; time-based tasks go on")
}

// tick moves the clock to t. The lists that fall due by then are asked for first:
// after a crash in between they are asked for again, and made once.
func (a *app) tick(ctx context.Context, t time.Time) error {
	last, err := a.log.LastTick(ctx)
	if err != nil {
		return err
	}
	if err := a.lists(ctx, last, t); err != nil {
		return err
	}
	if t.Equal(last) {
		return nil
	}
	return a.log.PublishTick(ctx, t)
}

// lists asks for those that fall due by t; last is the log's last tick.
func (a *app) lists(ctx context.Context, last, t time.Time) error {
	if a.marks == nil && !last.IsZero() {
		_, a.marks = people.Turns(a.notify.Directory(), nil, last)
	}
	var turns []people.Turn
	turns, a.marks = people.Turns(a.notify.Directory(), a.marks, t)
	for _, turn := range turns {
		if err := a.log.PublishTurn(ctx, t, turn.Person, turn.Date, a.notify.Directory().Scope(turn.Person)); err != nil {
			return err
		}
	}
	return nil
}
