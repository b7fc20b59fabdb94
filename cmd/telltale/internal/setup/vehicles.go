package setup

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/engine/stream"
	"telltale/rules/english"
)

// Vehicles writes a table of vehicles as a register: all of it, or beside a register that
// there is the entries of those that are new, to be put at its end. What the table says
// otherwise than the register, and which of its vehicles it lacks, is told; the register
// itself is never written to. The path of out is that of a new file, of a register
// without vehicles, or "" or - for the standard output.
func Vehicles(s cli.Env, m *table.Mapping, t *table.Table, register, out string) error {
	fleet, err := registered(register)
	if err != nil {
		return err
	}
	c := m.Against(fleet, t)
	for _, line := range c.Changed {
		fmt.Fprintln(s.Err, cli.Printable("changed: "+line))
	}
	if len(c.Missing) > 0 && len(t.Events) > 0 {
		fmt.Fprintln(s.Err, cli.Printable("in the register, but not in the table: "+strings.Join(c.Missing, ", ")))
	}
	beside := len(fleet.Vehicles) > 0
	text, err := intake.RegisterText(c.New, beside)
	if err != nil {
		return err
	}
	if len(c.New) > 0 {
		if err := written(s, text, out); err != nil {
			return err
		}
	}
	fmt.Fprintf(s.Err, "import: %s, %d new, %s\n", english.Plural(t.Rows, "row"), len(c.New), english.Plural(len(c.Changed), "change"))
	if beside && len(c.New) > 0 {
		fmt.Fprintf(s.Err, "put the new ones at the end of %s, and make the changes there by hand; then: telltale check\n", register)
	}
	return nil
}

// registered is the register beside which the table is read; an empty one where there is
// no file.
func registered(path string) (*table.Fleet, error) {
	if path == "" || !cli.Exists(path) {
		return table.FleetOf(nil), nil
	}
	events, err := cli.Register(path, stream.Unclocked)
	if err != nil {
		return nil, err
	}
	return table.FleetOf(events), nil
}

// written writes the text to a place where nothing stands.
func written(s cli.Env, text []byte, out string) error {
	if out == "" || out == "-" {
		_, err := s.Out.Write(text)
		return err
	}
	if err := stands(out); err != nil {
		return err
	}
	if err := os.WriteFile(out, text, 0o644); err != nil {
		return cli.Exit(2, fmt.Errorf("writing the register: %w", err))
	}
	return nil
}

// stands is the error that there is something in the file; a register without a vehicle,
// as init makes it, holds nothing that could be lost.
func stands(path string) error {
	text, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return cli.Exit(2, fmt.Errorf("writing the register: %w", err))
	}
	if events, err := intake.Register(path, text, stream.Unclocked); err == nil && len(events) == 0 {
		return nil
	}
	return cli.Exit(2, cli.Hint(fmt.Errorf("%s already exists and was not changed", path), "name another file; --vehicles "+path+" compares the table with it"))
}
