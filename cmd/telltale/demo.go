package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/replay"
	"telltale/engine/stream/clock"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/rules/unit"
	"telltale/samples"
)

func demoCommand(s cli.Env) *cobra.Command {
	var dir, files, smtp string
	var stay bool
	cmd := &cobra.Command{
		Use:   "demo",
		Short: "Run the sample fleet's year through the real service",
		Long: `Copy the sample fleet into a folder, start the service there, send it a year of events,
print what follows, and on a terminal show it in a browser until Ctrl-C. The events set the clock. Nobody gets a message: mails are
written as files, or handed to a test server with --smtp.`,
		Example: `  telltale demo
  telltale demo --dir demo --stay`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if files == "" {
				return demo(cmd.Context(), s, dir, smtp, stay)
			}
			if _, err := demoFolder(files); err != nil {
				return err
			}
			fmt.Fprintf(s.Err, "the sample fleet's files are in %s; change them, then: telltale serve --dir %s\n", files, files)
			return nil
		},
	}
	cmd.Flags().StringVar(&dir, "dir", "", "folder to copy the sample fleet into (default: a temporary one)")
	cmd.Flags().StringVar(&files, "files", "", "only copy the sample fleet's files into this folder")
	cmd.Flags().StringVar(&smtp, "smtp", "", "hand the mails to this SMTP test server (host:port, unencrypted); it must not pass them on, since the people are invented")
	cmd.Flags().BoolVar(&stay, "stay", false, "keep the service running until Ctrl-C, as on a terminal")
	return cmd
}

func demo(ctx context.Context, s cli.Env, dir, smtp string, stay bool) error {
	host, port, err := smtpAddress(smtp)
	if err != nil {
		return err
	}
	if dir, err = demoFolder(dir); err != nil {
		return err
	}
	f, err := loadFleet(dir)
	if err != nil {
		return err
	}
	f.set.Listen, f.set.Clock = "127.0.0.1:-1", "events"
	if host != "" {
		f.set.Mail.Host, f.set.Mail.Port, f.set.Mail.TLS = host, port, "never"
	}
	logger := slog.New(slog.NewTextHandler(s.Err, &slog.HandlerOptions{Level: slog.LevelWarn}))
	register := f.register
	f.register = nil // the vehicles come with the first event, as in a replay
	a, err := startApp(ctx, f, logger, func(string) {})
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Err, "demo: the sample fleet is in %s, the service at %s\n", dir, a.url())
	fmt.Fprintln(s.Err, "demo: vehicles are processed side by side, so lines are in order for each vehicle only")
	err = runDemo(ctx, s, a, register)
	if err == nil && (stay || cli.Terminal(s.Out) && cli.Terminal(s.Err)) {
		fmt.Fprintf(s.Err, "look: %s\nstill serving; try also: telltale due --dir %s (Ctrl-C stops it)\n", a.look, dir)
		<-ctx.Done()
	}
	return errors.Join(unlessStopped(ctx, err), a.stop())
}

// smtpAddress reads host:port; "" is none.
func smtpAddress(s string) (host string, port int, err error) {
	if s == "" {
		return "", 0, nil
	}
	host, number, err := net.SplitHostPort(s)
	if err == nil {
		port, err = strconv.Atoi(number)
	}
	if err != nil || host == "" || port < 1 || port > 65535 {
		return "", 0, cli.Exit(2, cli.Hint(fmt.Errorf("--smtp %q is not an address of a mail server", s), "write it like 127.0.0.1:2525"))
	}
	return host, port, nil
}

// demoFolder copies the sample fleet into a folder that has none of it yet.
func demoFolder(dir string) (_ string, err error) {
	if dir == "" {
		if dir, err = os.MkdirTemp("", "telltale-demo-"); err != nil {
			return "", err
		}
	} else if cli.Exists(filepath.Join(dir, "vehicles.yaml")) {
		return "", cli.Exit(2, cli.Hint(fmt.Errorf("%s already holds a fleet", dir), "name an empty folder, or run it: telltale serve --dir "+dir))
	}
	err = fs.WalkDir(samples.FS, ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		to := filepath.Join(dir, path)
		if d.IsDir() {
			return os.MkdirAll(to, 0o755)
		}
		text, err := samples.FS.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(to, text, 0o644)
	})
	if err != nil {
		return "", fmt.Errorf("copying the sample fleet: %w", err)
	}
	return dir, nil
}

func runDemo(ctx context.Context, s cli.Env, a *app, register []event.Event) error {
	nc, err := cli.Door{URL: a.url(), Key: server.OperatorKey(a.fleet.dir)}.Open("sample gateway", time.Minute)
	if err != nil {
		return err
	}
	defer nc.Close()
	pub, err := gateway.New(service.At{Conn: nc})
	if err != nil {
		return err
	}
	d := &demoYear{app: a, register: register, pub: pub}
	printed := make(chan error, 1)
	printing, stop := context.WithCancel(ctx)
	defer stop()
	go func() { printed <- d.print(printing, s) }()
	if err := d.run(ctx); err != nil {
		return err
	}
	if err := a.settle(ctx); err != nil {
		return err
	}
	last, err := a.log.LastOutput(ctx)
	if err != nil {
		return err
	}
	for d.seen.Load() < last && ctx.Err() == nil {
		time.Sleep(5 * time.Millisecond)
	}
	stop()
	<-printed
	return d.summary(ctx, s)
}

// demoYear is the sample year on its way into the service.
type demoYear struct {
	app         *app
	register    []event.Event
	pub         *gateway.Sender
	surveyed    time.Time // when the fleet's baselines were made last
	events      int
	transitions atomic.Int64
	seen        atomic.Uint64 // the last message of ALARMS that was printed
}

// run publishes the events in order, and a tick when their reported time passes a
// midnight UTC: once what came before is stored, so that the log is the file.
func (d *demoYear) run(ctx context.Context) error {
	text, err := samples.FS.ReadFile("events.jsonl")
	if err != nil {
		return err
	}
	year := replay.File{Register: d.register, Damaged: func(line int, reason error) error {
		return fmt.Errorf("line %d of the sample events: %w", line, reason)
	}}
	err = year.Each(bytes.NewReader(text), func(ev event.Event) error {
		if ev.Kind == event.TickEvent {
			return d.day(ctx, ev.Time)
		}
		if err := d.morning(ctx, ev.Recorded); err != nil {
			return err
		}
		if ev.Line > 0 {
			d.events++
		}
		return d.pub.Send(ctx, ev)
	})
	if err == nil {
		err = d.pub.Wait(ctx)
	}
	return err
}

// morning asks for the lists that fall due before something is reported, so that
// they say what the service would have said then.
func (d *demoYear) morning(ctx context.Context, now time.Time) error {
	if d.app.marks == nil {
		return nil // no midnight has passed
	}
	now = now.Truncate(clock.Quarter)
	if turns, _ := people.Turns(d.app.notify.Directory(), d.app.marks, now); len(turns) == 0 {
		return nil
	}
	if err := d.pub.Wait(ctx); err != nil {
		return err
	}
	return d.app.lists(ctx, time.Time{}, now)
}

// day ends a day at its midnight; the lists that fall due by then are asked for first.
func (d *demoYear) day(ctx context.Context, midnight time.Time) error {
	if err := d.pub.Wait(ctx); err != nil {
		return err
	}
	if err := d.app.tick(ctx, midnight); err != nil {
		return err
	}
	if err := d.baselines(ctx, midnight); err != nil {
		return err
	}
	return d.app.notify.Ticked(ctx, midnight)
}

// baselines waits until the fleet's baselines that fall due at a midnight are in force:
// a replay makes them at once, and the events of that day are judged by them.
func (d *demoYear) baselines(ctx context.Context, midnight time.Time) error {
	f := d.app.fleet
	if f.book.AsksFleet() == "" || !d.surveyed.IsZero() && f.set.Baselines(d.surveyed).After(midnight) {
		return nil
	}
	d.surveyed = midnight
	return d.app.log.AwaitBaselines(ctx, midnight)
}

// print shows the transitions as they come.
func (d *demoYear) print(ctx context.Context, s cli.Env) error {
	return d.app.log.Outputs(ctx, 1, func(m wire.Message) error {
		for _, o := range m.Outputs {
			if o.Transition != nil {
				d.transitions.Add(1)
				own, _ := unit.SystemOf(o.Transition.Reads) // checked when it came in
				fmt.Fprintln(s.Out, cli.TransitionLine(o.Transition.Worded(own.Or(d.app.fleet.reads()))))
			}
			if o.Refused != nil {
				fmt.Fprintln(s.Out, cli.RefusalLine(o.Refused))
			}
		}
		d.seen.Store(m.Seq)
		return nil
	})
}

func (d *demoYear) summary(ctx context.Context, s cli.Env) error {
	fmt.Fprintln(s.Out, "\nThe due list for the week ahead:")
	due, err := service.Due.Of(ctx, d.app.svc, service.Question{Ahead: 7, Units: d.app.fleet.set.Reads.Names()})
	if err != nil {
		return err
	}
	for _, item := range due {
		fmt.Fprintln(s.Out, ask.DueLine(item))
	}
	list, err := delivery.All(ctx, d.app.log.Deliveries())
	if err != nil {
		return err
	}
	mails := 0
	for _, m := range list {
		if m.Way == "mail" && m.State == delivery.Sent {
			mails++
		} else if m.State != delivery.Sent {
			fmt.Fprintf(s.Err, "not delivered to %s: %s\n", m.To, m.LastError)
		}
	}
	if set := d.app.fleet.set.Mail; set.Host != "" {
		fmt.Fprintf(s.Out, "\nThe mails went to %s\n", net.JoinHostPort(set.Host, strconv.Itoa(set.Port)))
	} else {
		fmt.Fprintf(s.Out, "\nThe mails are in %s\n", filepath.Join(d.app.fleet.dir, "mail"))
	}
	fmt.Fprintf(s.Out, "demo: %d events, %d transitions, %d mails\n", d.events, d.transitions.Load(), mails)
	return nil
}
