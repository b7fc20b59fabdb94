package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/setup"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/engine/intake/table"
	"telltale/engine/stream"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules/english"
)

type importOptions struct {
	cli.Client
	mapping, out, vehicles string
	dry                    bool
	rows                   int
}

func importCommand(s cli.Env) *cobra.Command {
	var o importOptions
	cmd := &cobra.Command{
		Use:   "import --map MAP.yaml FILE.csv",
		Short: "Read laboratory results, mileage, work done or vehicles from a spreadsheet",
		Long: `Read laboratory results, mileage or work done from a table (CSV) and send them to a
running service, or write them as events. The mapping says which column is what, in
which units, and how numbers and dates are written; nothing is guessed. A file comes
in whole or not at all: each fault is shown with its row and column and the line of
the mapping that would have worked. The same file again changes nothing.

A table of vehicles (import: vehicles) is not sent: it is written as a register, as
vehicles.yaml is. With --dir or --vehicles only the vehicles that are new are written,
and what the table says otherwise than the register is listed.`,
		Example: `  telltale import --map valley.yaml results.csv --dry
  telltale import --map valley.yaml results.csv --dir fleet
  telltale import --map mileage.yaml mileage.csv --vehicles fleet/vehicles.yaml --out events.jsonl
  telltale import --map customers.yaml customers.csv --out fleet/vehicles.yaml`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return importFile(cmd.Context(), s, &o, args[0]) },
	}
	o.Flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&o.mapping, "map", "", "the mapping (needed)")
	f.BoolVar(&o.dry, "dry", false, "check the whole file, show its first rows as events, and send nothing")
	f.IntVar(&o.rows, "rows", 3, "with --dry: how many events to show; 0 is all")
	f.StringVar(&o.out, "out", "", "write the events into this file (- is the standard output) and send nothing")
	f.StringVar(&o.vehicles, "vehicles", "", "with --dry or --out: register to check the vehicles against (default DIR/vehicles.yaml)")
	_ = cmd.MarkFlagRequired("map") // the flag is defined above
	return cmd
}

func importFile(ctx context.Context, s cli.Env, o *importOptions, path string) error {
	text, err := os.ReadFile(o.mapping)
	if err != nil {
		return cli.Exit(2, fmt.Errorf("reading the mapping: %w", err))
	}
	m, err := table.ReadMapping(o.mapping, text)
	if err != nil {
		return cli.Exit(2, fmt.Errorf("the mapping has faults:\n%w", err))
	}
	if m.Vehicles() {
		return o.register(s, m, path)
	}
	if o.dry || o.out != "" {
		return o.withoutService(s, m, path)
	}
	return o.Ask(ctx, func(ctx context.Context, nc *nats.Conn) error {
		fleet, err := fleetOf(ctx, nc)
		if err != nil {
			return err
		}
		t, err := readTable(s, m, path, fleet)
		if err != nil {
			return err
		}
		return importTo(ctx, s, nc, path, t)
	})
}

// register makes a register of a table of vehicles, beside the folder's if one is named.
func (o *importOptions) register(s cli.Env, m *table.Mapping, path string) error {
	t, err := readTable(s, m, path, nil)
	if err != nil {
		return err
	}
	at, out := o.vehicles, o.out
	if at == "" && o.Dir != "" {
		at = filepath.Join(o.Dir, "vehicles.yaml")
	}
	if o.dry {
		out = ""
	}
	return setup.Vehicles(s, m, t, at, out)
}

// withoutService shows or writes the events; the register is that of the folder.
func (o *importOptions) withoutService(s cli.Env, m *table.Mapping, path string) error {
	fleet, err := o.folderFleet(s)
	if err != nil {
		return err
	}
	t, err := readTable(s, m, path, fleet)
	if err != nil {
		return err
	}
	if o.dry {
		n := len(t.Events)
		if o.rows > 0 {
			n = min(n, o.rows)
		}
		if err := writeEvents(s.Out, t.Events[:n]); err != nil {
			return err
		}
		fmt.Fprintf(s.Err, "import: %s would be sent; %d shown, nothing sent\n", counted(t), n)
		return nil
	}
	if o.out == "-" {
		err = writeEvents(s.Out, t.Events)
	} else {
		err = writeNew(o.out, t.Events)
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(s.Err, "import: %s written, nothing sent\n", counted(t))
	return nil
}

func counted(t *table.Table) string {
	return english.Plural(len(t.Events), "event") + " of " + english.Plural(t.Rows, "row")
}

// writeNew writes the events into a file that is not there yet.
func writeNew(path string, events []event.Event) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("%s is there already", path), "name a file that is not, or - for the standard output"))
	}
	if err != nil {
		return cli.Exit(2, fmt.Errorf("writing the events: %w", err))
	}
	return errors.Join(writeEvents(f, events), f.Close())
}

func writeEvents(w io.Writer, events []event.Event) error {
	for _, ev := range events {
		b, err := intake.Encode(ev)
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "%s\n", b); err != nil {
			return fmt.Errorf("writing the events: %w", err)
		}
	}
	return nil
}

// readTable reads the file and says which rows make no event.
func readTable(s cli.Env, m *table.Mapping, path string, fleet *table.Fleet) (*table.Table, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, cli.Exit(2, err)
	}
	defer f.Close()
	t, err := m.Read(path, f, fleet)
	if err != nil {
		return nil, notImported(path, err)
	}
	for _, of := range []struct {
		rows []int
		what string
	}{{t.LeftOut, "left out by the mapping"}, {t.NoValue, "without any value"}, {t.Repeated, "that say again what an earlier row says"}} {
		if len(of.rows) > 0 {
			fmt.Fprintf(s.Err, "import: %s %s: %s\n", english.Plural(len(of.rows), "row"), of.what, someRows(of.rows))
		}
	}
	return t, nil
}

// notImported tells the faults of a table from what else went wrong.
func notImported(path string, err error) error {
	if faults := (table.Faults{}); errors.As(err, &faults) {
		return cli.Exit(2, fmt.Errorf("%s is not imported, nothing of it:\n%s", path, cli.Printable(faults.Error())))
	}
	return err
}

func someRows(rows []int) string {
	out := strings.Trim(strings.ReplaceAll(fmt.Sprint(rows[:min(len(rows), 10)]), " ", ", "), "[]")
	if len(rows) > 10 {
		out += " and others"
	}
	return out
}

// folderFleet is the register of a file, for a table that is not sent.
func (o *importOptions) folderFleet(s cli.Env) (*table.Fleet, error) {
	path := o.vehicles
	if path == "" && o.Dir != "" {
		path = filepath.Join(o.Dir, "vehicles.yaml")
	}
	if path == "" {
		fmt.Fprintln(s.Err, "import: not checked against a register; --vehicles FILE or --dir FOLDER names one")
		return nil, nil
	}
	events, err := cli.Register(path, stream.Unclocked)
	if err != nil {
		return nil, err
	}
	return table.FleetOf(events), nil
}

// fleetOf is the register of a running service, with the tasks of each vehicle.
func fleetOf(ctx context.Context, nc *nats.Conn) (*table.Fleet, error) {
	list, err := service.Register.Ask(ctx, nc, service.Question{})
	if err != nil {
		return nil, err
	}
	f := &table.Fleet{Vehicles: map[string]*event.VehicleData{}}
	for _, v := range list {
		f.Vehicles[v.Vehicle] = v.VehicleData
	}
	known := map[string][]string{}
	f.Tasks = func(vehicle string) ([]string, error) {
		if known[vehicle] == nil {
			list, err := service.Why.Ask(ctx, nc, service.Question{Vehicle: vehicle})
			if err != nil {
				return nil, err
			}
			known[vehicle] = job.Tasks(list)
		}
		return known[vehicle], nil
	}
	return f, nil
}

// importTo sends the events, all or none: what the service would refuse is looked
// for before.
func importTo(ctx context.Context, s cli.Env, nc *nats.Conn, path string, t *table.Table) error {
	latest, _, err := clockOf(ctx, nc)
	if err != nil {
		return err
	}
	known, err := knownTo(ctx, nc, t.Events)
	if err != nil {
		return err
	}
	fresh, err := t.Fresh(path, known, latest)
	if err != nil {
		return notImported(path, err)
	}
	p, err := gateway.Send(ctx, nc, fresh...)
	if err != nil {
		return cli.Hint(fmt.Errorf("sending: %w", err), "import the same file again: what is stored already is not stored twice")
	}
	refused, err := printRefused(ctx, s, p)
	if err != nil {
		return fmt.Errorf("asking what the service refused: %w", err)
	}
	fmt.Fprintf(s.Err, "import: %s: %d new, %d known before\n", counted(t), len(fresh)-refused, len(t.Events)-len(fresh))
	if refused > 0 {
		return cli.Exit(1, fmt.Errorf("%s refused", english.Plural(refused, "event")))
	}
	return nil
}

// clockOf is the latest moment that an event may have, and the service's now. Where
// the clock follows the events none is too late.
func clockOf(ctx context.Context, nc *nats.Conn) (latest, now time.Time, err error) {
	h, err := service.QueryHealth(ctx, nc)
	if err != nil {
		return latest, now, err
	}
	if h.EventsClock {
		return time.Unix(1<<40, 0), h.Now, nil
	}
	now = time.Now()
	return now.Add(24 * time.Hour), now, nil
}

// knownTo asks the service which of the events it holds: by vehicle, the hash of
// each.
func knownTo(ctx context.Context, nc *nats.Conn, events []event.Event) (map[string]map[event.ID]string, error) {
	ask := map[string][]engine.KnownEvent{}
	for _, ev := range events {
		ask[ev.Vehicle] = append(ask[ev.Vehicle], engine.KnownEvent{ID: ev.ID})
	}
	out := map[string]map[event.ID]string{}
	for vehicle, list := range ask {
		have, err := service.QueryKnown(ctx, nc, vehicle, list)
		if err != nil {
			return nil, err
		}
		out[vehicle] = map[event.ID]string{}
		for _, k := range have {
			out[vehicle][k.ID] = k.Digest
		}
	}
	return out, nil
}
