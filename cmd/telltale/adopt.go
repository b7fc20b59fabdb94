package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/trail"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/whatif"
	"telltale/rules/english"
)

func adoptCommand(s cli.Env) *cobra.Command {
	var url, dir string
	var dry bool
	cmd := &cobra.Command{
		Use:   "adopt DIR",
		Short: "Put a folder's rules and vehicles into force, or show what would change",
		Long: `Put a folder's rules into force, and register its vehicles, for services that use your
NATS server. Such services do not read rules from their own folders, since these could
differ. First you are told what would change: for each rule and task, on how many
vehicles it reaches a stage.

A service with its own NATS server reads its folder by itself when a file is saved. For
such a folder, --dry-run shows what its files would change, even if the service is
stopped or has never run. To try a change before the service reads it, edit a copy of the
folder and name the service's folder with --dir.`,
		Example: `  telltale adopt fleet --dry-run
  telltale adopt draft --dry-run --dir fleet
  telltale adopt fleet --nats nats://127.0.0.1:4222`,
		Args: cli.Wants(1, 1, "which folder?", "telltale adopt fleet --dry-run"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := loadFleet(args[0])
			if err != nil {
				return err
			}
			f.set.NATS = cmp.Or(url, f.set.NATS)
			if dir != "" && !dry {
				return cli.Exit(2, cli.Hint(errors.New("--dir goes with --dry-run: a service reads its own folder"), "copy the files into "+dir))
			}
			switch {
			case f.set.NATS != "":
				return adopt(cmd.Context(), s, f, dry)
			case dry:
				return adoptOwn(cmd.Context(), s, f, cmp.Or(dir, args[0]))
			}
			return cli.Exit(2, cli.Hint(fmt.Errorf("the service of %s has a NATS server of its own, and reads the folder when a file is saved", args[0]),
				"telltale adopt "+args[0]+" --dry-run says what would change"))
		},
	}
	cmd.Flags().StringVar(&url, "nats", "", "address of the NATS server (default: nats in DIR/telltale.yaml)")
	cmd.Flags().StringVar(&dir, "dir", "", "with --dry-run: the service's folder, if DIR is a copy of it")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "only show what would change")
	return cmd
}

// adoptOwn says what a folder would change on the service of dir: on the running one,
// on the files of one that is stopped, or where none has run yet.
func adoptOwn(ctx context.Context, s cli.Env, f *fleet, dir string) error {
	if !cli.Exists(filepath.Join(dir, "nats.url")) {
		err := withStopped(ctx, dir, func(ctx context.Context, log *stream.Log, _ *settings) error { return wouldAdopt(ctx, s, f, log, log) })
		if errors.Is(err, cli.ErrNoneRuns) {
			return wouldAdopt(ctx, s, f, nil, whatif.Nothing{})
		}
		return err
	}
	d, err := s.Door(dir)
	if err != nil {
		return cli.Exit(2, err)
	}
	nc, err := d.Open("telltale adopt", 5*time.Second)
	if err != nil {
		return cli.OrHint(err, "is telltale serve running? If it was killed, remove "+filepath.Join(dir, "nats.url"))
	}
	defer nc.Close()
	log, err := stream.Open(ctx, nc, stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	return wouldAdopt(ctx, s, f, log, log)
}

// wouldAdopt says what would change; log is nil where there is none.
func wouldAdopt(ctx context.Context, s cli.Env, f *fleet, log *stream.Log, store whatif.Store) error {
	now := time.Now().UTC().Truncate(time.Second)
	if log != nil {
		var err error
		if now, err = (&app{fleet: f, log: log}).now(ctx); err != nil {
			return err
		}
	}
	c, err := whatif.Adopt(ctx, store, f.book, f.register, now)
	if err != nil {
		return err
	}
	changed(s, f, c)
	fmt.Fprintf(s.Err, "adopt: nothing was changed; %s would be registered or changed\n", english.Plural(len(c.Register), "vehicle"))
	return nil
}

// changed lists what changes, a rule or task and stage a line, and says what cannot be
// registered or is left out.
func changed(s cli.Env, f *fleet, c *whatif.Adoption) {
	for _, n := range c.Changes {
		fmt.Fprintf(s.Out, "%-28s %-10s %s\n", n.Rule, n.To, english.Plural(n.Vehicles, "vehicle"))
	}
	if keys := leftOut(f.register, c.Registered); keys != nil {
		fmt.Fprintf(s.Err, "adopt: in service, and vehicles.yaml no longer names it: %s\nhint: %s\n", someKeys(keys), leftOutHint(keys[0]))
	}
	for _, taken := range c.Taken {
		fmt.Fprintf(s.Err, "adopt: %s\n", taken)
	}
}

func adopt(ctx context.Context, s cli.Env, f *fleet, dry bool) error {
	nc, err := f.set.door().Open("telltale adopt", 5*time.Second)
	if err != nil {
		return cli.OrHint(err, "is the NATS server running?")
	}
	defer nc.Close()
	if nc.ConnectedServerName() == server.Name {
		return cli.Hint(fmt.Errorf("the service at %s has a NATS server of its own", f.set.NATS), "save the rules in its folder; it reads them by itself")
	}
	log, err := stream.Open(ctx, nc, stream.LogConfig{MaxBytes: int64(f.set.MaxMiB) << 20})
	if err != nil {
		return err
	}
	a := &app{fleet: f, log: log}
	now, err := a.now(ctx)
	if err != nil {
		return err
	}
	if dry {
		return wouldAdopt(ctx, s, f, log, log)
	}
	c, err := whatif.Adopt(ctx, log, f.book, f.register, now)
	if err != nil {
		return err
	}
	changed(s, f, c)
	adopted, err := log.PublishBook(ctx, now, f.book, f.files)
	if err == nil && adopted {
		err = trail.Adopted(ctx, log, f.book)
	}
	if err != nil {
		return err
	}
	for _, ev := range c.Register {
		if ev, err = intake.At(ev, now); err == nil {
			err = log.Publish(ctx, ev)
		}
		if err != nil {
			return fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
	}
	said := "adopt: %s, %s in force, %s registered\n"
	if !adopted {
		said = "adopt: %s, %s were already in force, %s registered\n"
	}
	fmt.Fprintf(s.Err, said, english.Plural(len(f.book.Rules), "rule"), english.Plural(len(f.book.Tasks), "task"), english.Plural(len(c.Register), "vehicle"))
	return nil
}
