package enter

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/setup"
	"telltale/engine/intake/table"
	"telltale/engine/stream/service"
	"telltale/engine/stream/tables"
	"telltale/rules/english"
)

type importOptions struct {
	options
	mapping, out, vehicles string
	rows                   int
}

func importCommand(s cli.Env) *cobra.Command {
	var o importOptions
	cmd := &cobra.Command{
		Use:   "import --map MAP.yaml FILE.csv",
		Short: "Import laboratory results, mileage, work or vehicles from a spreadsheet",
		Long: `Import laboratory results, mileage or work from a table (a CSV file, as spreadsheets save
it): send them to a running service, or write them as events. The mapping is a file that
you write: it says what each column means, in which unit, and how numbers and dates are
written. Nothing is guessed.

A file is imported completely or not at all: the service checks every row before any is
sent. Each mistake is shown with its row and column, and with the line of the mapping that
would have worked. Importing a file again adds only the rows that are new. A row that was
taken back with telltale undo stays out until its contents change.

--dry does the same without sending anything.

A table of vehicles (import: vehicles) is not sent but written as a register, in the form
of vehicles.yaml. With --dir or --vehicles, only new vehicles are written, and differences
between the table and the register are listed.`,
		Example: `  telltale import --map valley.yaml results.csv --dir fleet --dry
  telltale import --map valley.yaml results.csv --dir fleet
  telltale import --map mileage.yaml mileage.csv --vehicles fleet/vehicles.yaml --out events.jsonl
  telltale import --map customers.yaml customers.csv --out fleet/vehicles.yaml`,
		Args: cli.Wants(1, 1, "which file?", "telltale import --map valley.yaml results.csv"),
		RunE: func(cmd *cobra.Command, args []string) error { return importFile(cmd.Context(), s, &o, args[0]) },
	}
	o.flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&o.mapping, "map", "", "the mapping (required)")
	f.IntVar(&o.rows, "rows", 3, "with --dry: how many events to show; 0 shows all")
	f.StringVar(&o.out, "out", "", "write the events into this file (- is the standard output) and send nothing")
	f.StringVar(&o.vehicles, "vehicles", "", "with --dry or --out: check against this register instead of asking the service")
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
	if o.out != "" || o.dry && o.vehicles != "" {
		return o.withoutService(s, m, path)
	}
	err = o.run(ctx, func(ctx context.Context, nc *nats.Conn) error { return o.throughService(ctx, s, nc, m, path) })
	if o.dry && o.URL == "" && errors.Is(err, cli.ErrNoneRuns) {
		fmt.Fprintln(s.Err, "import: no service is running here, so the rows are checked without its rules and stored events")
		return o.withoutService(s, m, path)
	}
	return err
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

// throughService imports what the service takes, all or nothing.
func (o *importOptions) throughService(ctx context.Context, s cli.Env, nc *nats.Conn, m *table.Mapping, path string) error {
	file, err := os.Open(path)
	if err != nil {
		return cli.Exit(2, err)
	}
	defer file.Close()
	at := service.At{Conn: nc}
	d, err := tables.Read(ctx, at, o.Units(), m, tables.File{Name: path, In: file})
	if d != nil {
		passedBy(s, d.Table)
		if len(d.Table.TakenOut) > 0 {
			fmt.Fprintf(s.Err, "import: %s taken back before, so left out: %s\n", english.Plural(len(d.Table.TakenOut), "row"), someRows(d.Table.TakenOut))
		}
	}
	if err != nil {
		return notImported(path, err)
	}
	return o.finish(ctx, s, at, path, d)
}

// finish sends what is new, unless this is a dry run, and says what follows.
func (o *importOptions) finish(ctx context.Context, s cli.Env, at service.At, path string, d *tables.Dry) error {
	if o.dry && !o.JSON {
		if err := o.shown(s, d.Table); err != nil {
			return err
		}
	}
	if !o.dry {
		if err := send(ctx, s, at, &d.Entered); err != nil {
			return err
		}
	}
	if o.JSON {
		if err := o.encode(s, &d.Entered); err != nil {
			return err
		}
	}
	for i := range d.Events {
		for _, note := range notes(&d.Events[i], &d.Would[i], d.Of[d.Events[i].Vehicle], o.dry) {
			fmt.Fprintf(s.Err, "%s:%d: %s\n", path, d.Events[i].Line, cli.Printable(note))
		}
	}
	for _, line := range summary(d) {
		fmt.Fprintln(s.Err, "import: "+cli.Printable(line))
	}
	end := ""
	if o.dry {
		end = "; dry run: nothing was sent"
	}
	fmt.Fprintf(s.Err, "import: %s: %d new, %d known before%s\n", counted(d.Table), len(d.Fresh()), d.Before(), end)
	return nil
}

// shownFollows is how many rules and tasks a summary names.
const shownFollows = 8

// summary says in a line for each rule or task what becomes of its alarms, and where.
func summary(d *tables.Dry) (out []string) {
	all := d.Follows()
	for i := range all {
		if i == shownFollows {
			return append(out, fmt.Sprintf("and %d more; telltale alarms and telltale due list them", len(all)-i))
		}
		out = append(out, all[i].String())
	}
	return out
}

// withoutService shows or writes the events; the register is that of a file.
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
		if err := o.shown(s, t); err != nil {
			return err
		}
		fmt.Fprintf(s.Err, "import: %s; dry run: nothing was sent\n", counted(t))
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

// shown writes the first events.
func (o *importOptions) shown(s cli.Env, t *table.Table) error {
	n := len(t.Events)
	if o.rows > 0 {
		n = min(n, o.rows)
	}
	return writeEvents(s.Out, t.Events[:n])
}
