package enter

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/engine/stream"
	"telltale/rules/english"
)

func counted(t *table.Table) string {
	return english.Plural(len(t.Events), "event") + " of " + english.Plural(t.Rows, "row")
}

// writeNew writes the events into a file that is not there yet.
func writeNew(path string, events []event.Event) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("%s already exists", path), "name a new file, or - for the standard output"))
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
	passedBy(s, t)
	return t, nil
}

// passedBy says which rows make no event.
func passedBy(s cli.Env, t *table.Table) {
	for _, of := range []struct {
		rows []int
		what string
	}{{t.LeftOut, "left out by the mapping"}, {t.NoValue, "without any value"}, {t.Repeated, "that repeat an earlier row"}} {
		if len(of.rows) > 0 {
			fmt.Fprintf(s.Err, "import: %s %s: %s\n", english.Plural(len(of.rows), "row"), of.what, someRows(of.rows))
		}
	}
}

// notImported tells the faults of a table from what else went wrong.
func notImported(path string, err error) error {
	if faults := (table.Faults{}); errors.As(err, &faults) {
		return cli.Exit(2, fmt.Errorf("nothing of %s is imported:\n%s", path, cli.Printable(faults.Error())))
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
