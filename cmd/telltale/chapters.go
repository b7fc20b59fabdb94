package main

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/rogpeppe/go-internal/diff"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/fit"
	"telltale/rules"
	"telltale/rules/chapters"
	"telltale/rules/english"
)

func chaptersCommand(s cli.Env) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "chapters [NAME]",
		Short: "List ready-made rule files, describe or copy one, and show the source of each figure",
		Example: `  telltale chapters
  telltale chapters engine-oil
  telltale chapters copy engine-oil fleet
  telltale chapters diff engine-oil fleet
  telltale chapters sources engine-oil`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 1 {
				return describeChapter(s, args[0], asJSON)
			}
			return listChapters(s, asJSON)
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	cmd.AddCommand(chaptersSources(s),
		chapterCommand("copy NAME [DIR]", "Copy a chapter into your folder, where you can change it; existing files are kept",
			func(c chapters.Chapter, dir string) error { return copyChapter(s, c, dir) }),
		chapterCommand("diff NAME [DIR]", "Show how your copy of a chapter differs from this program's version",
			func(c chapters.Chapter, dir string) error { return diffChapter(s, c, dir) }))
	return cmd
}

// chapterLine is a chapter in the listing.
type chapterLine struct {
	Name      string `json:"name"`
	About     string `json:"about"`
	Rules     int    `json:"rules"`
	Tasks     int    `json:"tasks"`
	Baselines int    `json:"baselines"`
	Cases     int    `json:"cases"`
	ToFill    int    `json:"toFill"`
}

func listChapters(s cli.Env, asJSON bool) error {
	var list []chapterLine
	for _, c := range chapters.All() {
		book, err := bookOf(c)
		if err != nil {
			return err
		}
		list = append(list, lineOf(c, book))
	}
	return cli.Listing(s, asJSON, list, nil, "no chapters", chapterLine.String)
}

func chapterNamed(name string) (chapters.Chapter, *rules.Book, error) {
	c, err := cli.Chapter(name)
	if err != nil {
		return c, nil, err
	}
	book, err := bookOf(c)
	return c, book, err
}

func bookOf(c chapters.Chapter) (*rules.Book, error) {
	book, err := c.Book(c.File())
	if err != nil {
		return nil, fmt.Errorf("reading the chapter %q: %w", c.Name, err)
	}
	return book, nil
}

func lineOf(c chapters.Chapter, book *rules.Book) chapterLine {
	return chapterLine{c.Name, c.About, len(book.Rules), len(book.Tasks), len(book.Baselines), len(book.Cases), len(book.ToFill)}
}

func (c chapterLine) String() string {
	line := fmt.Sprintf("%s\n    %s\n    %s, %s, %s", c.Name, c.About, english.Plural(c.Tasks, "task"), english.Plural(c.Rules, "rule"), english.Plural(c.Cases, "case"))
	if c.ToFill > 0 {
		line += fmt.Sprintf("; %s to fill in", english.Plural(c.ToFill, "value"))
	}
	return line
}

// chapterAsks is what a chapter asks of the register.
type chapterAsks struct {
	chapterLine
	ComponentKinds []string  `json:"componentKinds,omitempty"`
	VehicleKinds   []string  `json:"vehicleKinds,omitempty"`
	Tags           []fit.Tag `json:"tags,omitempty"`
}

// describeChapter says what the chapter is about and what it asks of vehicles.yaml, so
// that no kind or tag that work hangs on is secret.
func describeChapter(s cli.Env, name string, asJSON bool) error {
	c, book, err := chapterNamed(name)
	if err != nil {
		return err
	}
	d := chapterAsks{chapterLine: lineOf(c, book), Tags: fit.Tags(book)}
	d.ComponentKinds, d.VehicleKinds = fit.Kinds(book)
	return cli.Listing(s, asJSON, []chapterAsks{d}, nil, "", func(d chapterAsks) string {
		line := d.chapterLine.String()
		for _, k := range []struct {
			of    string
			kinds []string
		}{{"components", d.ComponentKinds}, {"vehicles", d.VehicleKinds}} {
			if len(k.kinds) > 0 {
				line += fmt.Sprintf("\n    for %s of these kinds: %s", k.of, strings.Join(k.kinds, ", "))
			}
		}
		for _, t := range d.Tags {
			line += fmt.Sprintf("\n    by the tag %s: %s, for %s; in vehicles.yaml: %s", t.Name, strings.Join(t.Texts, ", "), english.List("and", t.By), t.Example)
		}
		return line
	})
}

// chapterCommand does something with a chapter and a fleet's folder, which is this one
// where none is named.
func chapterCommand(use, short string, do func(c chapters.Chapter, dir string) error) *cobra.Command {
	return &cobra.Command{Use: use, Short: short, Args: cli.Wants(1, 2, "which chapter?", "telltale chapters lists them"), RunE: func(_ *cobra.Command, args []string) error {
		c, err := cli.Chapter(args[0])
		if err != nil {
			return err
		}
		return do(c, append(args, ".")[1])
	}}
}

// rulesIn is the folder of rules within a fleet's folder, or the folder itself.
func rulesIn(dir string) string {
	if in := filepath.Join(dir, "rules"); cli.Exists(in) {
		return in
	}
	return dir
}

func copyChapter(s cli.Env, c chapters.Chapter, dir string) error {
	if !cli.Exists(dir) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("no folder %s", dir), "name the fleet's folder, or make it: mkdir "+dir))
	}
	path, err := c.Copy(rulesIn(dir))
	switch {
	case errors.Is(err, fs.ErrExist):
		return cli.Exit(2, cli.Hint(fmt.Errorf("%s already exists and was not changed", filepath.Join(rulesIn(dir), c.File())),
			fmt.Sprintf("telltale chapters diff %s %s shows how it differs", c.Name, dir)))
	case err != nil:
		return err
	}
	fmt.Fprintln(s.Out, path)
	book, err := c.Book(path)
	if err != nil {
		return fmt.Errorf("reading the chapter %q: %w", c.Name, err)
	}
	toFill(s, book)
	fmt.Fprintf(s.Err, "then: telltale check %s\n", dir)
	return nil
}

// toFill tells what is left to be filled in, a line for all that stands on one line of
// a file and is to be had from one place.
func toFill(s cli.Env, book *rules.Book) {
	for i := 0; i < len(book.ToFill); {
		f := &book.ToFill[i]
		what, of, _ := strings.Cut(f.Text, " of ")
		first, _, _ := strings.Cut(what, " ")
		for i++; i < len(book.ToFill); i++ {
			next := &book.ToFill[i]
			more, same := strings.CutSuffix(next.Text, " of "+of)
			if !same || next.File != f.File || next.Line != f.Line || next.Hint != f.Hint {
				break
			}
			what += ", " + strings.TrimPrefix(more, first+" ")
		}
		fmt.Fprintf(s.Err, "to fill in: %s: %s of %s: %s\n", f.Place, what, strings.TrimSuffix(of, " is to be filled in"), f.Hint)
	}
}

func diffChapter(s cli.Env, c chapters.Chapter, dir string) error {
	path := filepath.Join(rulesIn(dir), c.File())
	own, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return cli.Exit(2, cli.Hint(fmt.Errorf("no file %s", path), fmt.Sprintf("telltale chapters copy %s %s", c.Name, dir)))
	case err != nil:
		return cli.Exit(2, fmt.Errorf("reading the copy of %q: %w", c.Name, err))
	}
	own = bytes.ReplaceAll(own, []byte("\r\n"), []byte("\n")) // an editor's line ends are no change
	d := diff.Diff(filepath.ToSlash(path), own, "telltale "+program()+" "+c.File(), c.Text)
	if len(d) == 0 {
		fmt.Fprintf(s.Err, "%s is the same as this program's version\n", path)
		return nil
	}
	_, d, _ = bytes.Cut(d, []byte("\n")) // the command line that the library puts first
	for line := range bytes.Lines(d) {
		if _, err := fmt.Fprintln(s.Out, cli.Printable(strings.TrimSuffix(string(line), "\n"))); err != nil {
			return fmt.Errorf("writing the difference: %w", err)
		}
	}
	return nil
}

func chaptersSources(s cli.Env) *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "sources NAME",
		Short: "List every figure of a chapter with its source",
		Args:  cli.Wants(1, 1, "which chapter?", "telltale chapters sources engine-oil"),
		RunE:  func(_ *cobra.Command, args []string) error { return chapterSources(s, args[0], asJSON) },
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	return cmd
}

// figureLine is a figure in the listing.
type figureLine struct {
	Of     string `json:"of"`
	Key    string `json:"key"`
	Value  string `json:"value"`
	Source string `json:"source"`
	File   string `json:"file"`
	Line   int    `json:"line"`
}

func chapterSources(s cli.Env, name string, asJSON bool) error {
	_, book, err := chapterNamed(name)
	if err != nil {
		return err
	}
	var list []figureLine
	for _, f := range book.Figures() {
		list = append(list, figureLine{f.Of, f.Key, f.Value, f.Source, f.At.File, f.At.Line})
	}
	of := ""
	return cli.Listing(s, asJSON, list, nil, "no figures", func(f figureLine) string {
		line := fmt.Sprintf("  %d  %s: %s\n      %s", f.Line, f.Key, f.Value, f.Source)
		if f.Of != of {
			of = f.Of
			line = f.Of + "\n" + line
		}
		return line
	})
}
