package main

import (
	"cmp"
	"context"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/whatif"
	"telltale/rules/english"
)

func adoptCommand(s cli.Env) *cobra.Command {
	var url string
	var dry bool
	cmd := &cobra.Command{
		Use:   "adopt DIR",
		Short: "Put a folder's rules and vehicles into force on services that share a NATS server",
		Long: `Put a folder's rules into force, and register its vehicles, on services that use a NATS
server of yours. Such services do not read rules from their own folders, because the
folders could differ. The command first says what changes: how many vehicles have
something due at once, or no longer. A service with its own NATS server reads its
folder by itself.`,
		Example: "  telltale adopt fleet --nats nats://127.0.0.1:4222 --dry-run",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := loadFleet(args[0])
			if err != nil {
				return err
			}
			f.set.NATS = cmp.Or(url, f.set.NATS)
			if f.set.NATS == "" {
				return cli.Exit(2, cli.Hint(fmt.Errorf("%s does not use a NATS server of yours", args[0]), "name one with --nats; a service with a server of its own reads its folder when a file is saved"))
			}
			return adopt(cmd.Context(), s, f, dry)
		},
	}
	cmd.Flags().StringVar(&url, "nats", "", "address of the NATS server (default: nats in DIR/telltale.yaml)")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "only say what would change")
	return cmd
}

func adopt(ctx context.Context, s cli.Env, f *fleet, dry bool) error {
	nc, err := nats.Connect(f.set.NATS, nats.Name("telltale adopt"), nats.Timeout(5*time.Second))
	if err != nil {
		return cli.Hint(fmt.Errorf("connecting to %s: %w", f.set.NATS, err), "is the NATS server running?")
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
	c, err := whatif.Adopt(ctx, log, f.book, f.register, now)
	if err != nil {
		return err
	}
	for _, n := range c.Changes {
		fmt.Fprintf(s.Out, "%-28s %-10s %s\n", n.Rule, n.To, english.Plural(n.Vehicles, "vehicle"))
	}
	if dry {
		fmt.Fprintf(s.Err, "adopt: nothing was changed; %s would be registered\n", english.Plural(len(c.Register), "vehicle"))
		return nil
	}
	adopted, err := log.PublishBook(ctx, now, f.book, f.files)
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
		said = "adopt: %s, %s were in force already, %s registered\n"
	}
	fmt.Fprintf(s.Err, said, english.Plural(len(f.book.Rules), "rule"), english.Plural(len(f.book.Tasks), "task"), english.Plural(len(c.Register), "vehicle"))
	return nil
}
