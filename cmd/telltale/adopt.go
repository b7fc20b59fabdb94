package main

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
)

func adoptCommand(s streams) *cobra.Command {
	var url string
	var dry bool
	cmd := &cobra.Command{
		Use:   "adopt DIR",
		Short: "Put a folder's rules and vehicles in force on services that share a NATS server",
		Long: `Put a folder's rules in force, and register its vehicles, on services that joined a
NATS server: they do not read rules from their own folders, which could differ.
What changes by it is told first: how many vehicles have something due at once, or
no longer. A service with a NATS server of its own reads its folder by itself.`,
		Example: "  telltale adopt fleet --nats nats://127.0.0.1:4222 --dry-run",
		Args:    cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := loadFleet(args[0])
			if err != nil {
				return err
			}
			f.set.NATS = cmp.Or(url, f.set.NATS)
			if f.set.NATS == "" {
				return exit{2, hinted{fmt.Errorf("%s joins no NATS server", args[0]), "name one with --nats; a service with a server of its own reads its folder when a file is saved"}}
			}
			return adopt(cmd.Context(), s, f, dry)
		},
	}
	cmd.Flags().StringVar(&url, "nats", "", "address of the NATS server (default: nats in DIR/telltale.yaml)")
	cmd.Flags().BoolVar(&dry, "dry-run", false, "only tell what would change")
	return cmd
}

func adopt(ctx context.Context, s streams, f *fleet, dry bool) error {
	nc, err := nats.Connect(f.set.NATS, nats.Name("telltale adopt"), nats.Timeout(5*time.Second))
	if err != nil {
		return hinted{fmt.Errorf("connecting to %s: %w", f.set.NATS, err), "is the NATS server running?"}
	}
	defer nc.Close()
	if nc.ConnectedServerName() == server.Name {
		return hinted{fmt.Errorf("the service at %s has a NATS server of its own", f.set.NATS), "save the rules into its folder: it reads them by itself"}
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
	c, err := previewAdoption(ctx, log, f, now)
	if err != nil {
		return err
	}
	for _, line := range c.lines() {
		fmt.Fprintln(s.out, line)
	}
	if dry {
		fmt.Fprintf(s.err, "adopt: nothing was changed; %d vehicles would be registered\n", len(c.register))
		return nil
	}
	adopted, err := log.PublishBook(ctx, now, f.book, f.files)
	if err != nil {
		return err
	}
	for _, ev := range c.register {
		if ev, err = intake.At(ev, now); err == nil {
			err = log.Publish(ctx, ev)
		}
		if err != nil {
			return fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
	}
	said := "adopt: %d rules, %d tasks in force, %d vehicles registered\n"
	if !adopted {
		said = "adopt: %d rules, %d tasks were in force already, %d vehicles registered\n"
	}
	fmt.Fprintf(s.err, said, len(f.book.Rules), len(f.book.Tasks), len(c.register))
	return nil
}

// adoption is what comes of adopting a folder.
type adoption struct {
	vehicles map[[2]string]map[string]bool // by rule and what happens: the vehicles
	register []engine.Event                // those that say something new
}

// previewAdoption judges every vehicle as it was stored last by the folder's rules.
func previewAdoption(ctx context.Context, log *stream.Log, f *fleet, now time.Time) (*adoption, error) {
	c := &adoption{vehicles: map[[2]string]map[string]bool{}}
	inForce, err := log.BookInForce(ctx)
	if err != nil {
		return nil, err
	}
	for _, ev := range f.register {
		d, err := log.LastRegistration(ctx, ev.Vehicle)
		if err != nil {
			return nil, err
		}
		if !reflect.DeepEqual(d, ev.Data) {
			c.register = append(c.register, ev)
		}
	}
	if inForce == f.book.Hash {
		return c, nil // nobody is judged anew
	}
	err = log.Copies(ctx, func(p *engine.Partition) error {
		for _, o := range p.Apply(stream.BookEvent(now, f.book)) {
			if t := o.Transition; t != nil {
				c.count(t)
			}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("judging the vehicles by the folder's rules: %w", err)
	}
	return c, nil
}

func (c *adoption) count(t *engine.Transition) {
	what := t.To
	if t.To == "normal" {
		what = t.Transition // cleared or withdrawn
	}
	key := [2]string{t.Rule, what}
	if c.vehicles[key] == nil {
		c.vehicles[key] = map[string]bool{}
	}
	c.vehicles[key][t.Vehicle] = true
}

// lines tells, a line each, of how many vehicles an alarm changes, and to what.
func (c *adoption) lines() []string {
	keys := slices.SortedFunc(maps.Keys(c.vehicles), func(a, b [2]string) int {
		return cmp.Or(strings.Compare(a[0], b[0]), strings.Compare(a[1], b[1]))
	})
	var out []string
	for _, k := range keys {
		n, of := len(c.vehicles[k]), "vehicles"
		if n == 1 {
			of = "vehicle"
		}
		out = append(out, fmt.Sprintf("%-28s %-10s %d %s", k[0], k[1], n, of))
	}
	return out
}
