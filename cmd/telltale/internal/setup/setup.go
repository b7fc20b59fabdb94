// Package setup makes a new fleet's folder: it asks who keeps which vehicles, where, and in
// which units, or takes the answers from flags, and writes the files that go with them.
package setup

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"text/template"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules"
	"telltale/rules/chapters"
	"telltale/rules/english"
	"telltale/rules/unit"
)

//go:embed init/*
var texts embed.FS

// Command is `telltale init`. Load reads a folder that was written, and checks it.
func Command(s cli.Env, load func(dir string) (*rules.Book, error)) *cobra.Command {
	given := make([]string, len(questions))
	cmd := &cobra.Command{
		Use:   "init [DIR]",
		Short: "Create a folder for your vehicles; without flags, it asks",
		Example: `  telltale init fleet
  telltale init fleet --name "Ines Thornbeck" --mail ines@larkfell.example --zone Europe/London
  telltale init shop --for workshop --name "Valley Garage" --mail desk@valley.example --zone Central --units mi,qt`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			return Folder(s, append(args, ".")[0], given, cli.Terminal(s.In), load) // in this folder, if none is named
		},
	}
	for i, q := range questions {
		cmd.Flags().StringVar(&given[i], q.flag, "", q.help)
	}
	return cmd
}

// Fleet is what the answers say.
type Fleet struct {
	Name, Zone, Mail string
	For              string      // owner, workshop or fleet
	Units            unit.System // in which they read
	Dates            string      // as people.yaml has it: day first
	Spelling         string      // en-GB or en-US
	Chapters         []chapters.Chapter
}

// ID is by which people.yaml and the register know who keeps the vehicles.
func (f *Fleet) ID() string {
	return map[string]string{"owner": "keeper", "workshop": "workshop", "fleet": "manager"}[f.For]
}

// Folder makes the folder; given are the answers by flags, in the order of the questions.
// What they leave open is asked for, or taken as usual.
func Folder(s cli.Env, dir string, given []string, ask bool, load func(dir string) (*rules.Book, error)) error {
	if err := empty(dir); err != nil {
		return cli.Exit(2, err)
	}
	f, err := answered(s, given, ask)
	if err != nil {
		return cli.Exit(2, err)
	}
	if err := f.write(s, dir); err != nil {
		return fmt.Errorf("making the folder %q: %w", dir, err)
	}
	book, err := load(dir)
	if err != nil {
		return fmt.Errorf("reading what was written: %w", err)
	}
	fmt.Fprintf(s.Err, "%s and %s are ready", english.Plural(len(book.Tasks), "task"), english.Plural(len(book.Rules), "rule"))
	if n := len(book.ToFill); n > 0 {
		fmt.Fprintf(s.Err, "; %s for you to fill in; `telltale check` lists them", english.Plural(n, "value"))
	}
	fmt.Fprintf(s.Err, "\nnext: enter your vehicles in %s, then\n  telltale check %s\n  telltale serve --dir %s\n", filepath.Join(dir, "vehicles.yaml"), dir, dir)
	return nil
}

// empty says why a new folder cannot be made in dir; one that is missing is made later.
func empty(dir string) error {
	const hint = "name a new folder: telltale init fleet"
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return cli.Hint(fmt.Errorf("looking into the folder: %w", err), hint)
	case len(entries) > 0:
		return cli.Hint(fmt.Errorf("the folder %s is not empty: it holds %s; nothing was written", dir, entries[0].Name()), hint)
	}
	return nil
}

// write makes the folder's files and names each; none is ever overwritten.
func (f *Fleet) write(s cli.Env, dir string) error {
	all, err := template.ParseFS(texts, "init/*")
	if err != nil {
		return err
	}
	for _, c := range f.Chapters {
		path, err := c.Copy(filepath.Join(dir, "rules"))
		if err != nil {
			return err
		}
		fmt.Fprintln(s.Out, path)
	}
	if err := os.MkdirAll(filepath.Join(dir, "rules"), 0o755); err != nil {
		return err
	}
	for _, t := range []string{"own.yaml", "vehicles.yaml", "people.yaml", "telltale.yaml"} {
		path := filepath.Join(dir, t)
		if t == "own.yaml" {
			path = filepath.Join(dir, "rules", t)
		}
		file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return err
		}
		if err := errors.Join(all.ExecuteTemplate(file, t, f), file.Close()); err != nil {
			return err
		}
		fmt.Fprintln(s.Out, path)
	}
	return nil
}

// Petrol is the fuel by the name that is usual in the spelling.
func (f *Fleet) Petrol() string {
	if f.Spelling == "en-US" {
		return "gasoline"
	}
	return "petrol"
}

// Capacity is the example's, in the unit of volume.
func (f *Fleet) Capacity() string {
	return map[string]string{"L": "8 L", "qt": "8.5 qt", "gal": "2.1 gal"}[f.Units.Volume]
}

// Reads are the units as the settings and the register have them.
func (f *Fleet) Reads() string { return "[" + strings.Join(f.Units.Names(), ", ") + "]" }

// Has reports whether a chapter of that name is chosen.
func (f *Fleet) Has(chapter string) bool {
	return slices.ContainsFunc(f.Chapters, func(c chapters.Chapter) bool { return c.Name == chapter })
}

// OilDistance is the example's interval, in the unit of distance.
func (f *Fleet) OilDistance() string { return f.inMiles("8000 km", "5000 mi") }

// LeakDistance is after how far leaks are looked for.
func (f *Fleet) LeakDistance() string { return f.inMiles("300 km", "200 mi") }

// LapseDistance is after how far it is no use any more.
func (f *Fleet) LapseDistance() string { return f.inMiles("5000 km", "3000 mi") }

func (f *Fleet) inMiles(km, mi string) string {
	if f.Units.Distance == "mi" {
		return mi
	}
	return km
}
