package main

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/language"
	"telltale/engine/cases"
	"telltale/engine/fit"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/source"
)

func languageServerCommand(s cli.Env) *cobra.Command {
	return &cobra.Command{
		Use:   "language-server",
		Short: "Show mistakes, meanings and completions in an editor while you type",
		Long: `Serve an editor over the Language Server Protocol, on the standard input and output. The
editor starts it by itself for the YAML files of a folder: rules/README.md says how, under
"Editors".`,
		Example: "  telltale language-server",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !language.Run(cmd.Context(), s.In, output{s.Out}, program(), lookAt) {
				return cli.Exit(1, errors.New("the editor is gone without asking for the end"))
			}
			return nil
		},
	}
}

// output is a stream that lasts as long as the program.
type output struct{ io.Writer }

func (output) Close() error { return nil }

// draft is the files of a folder as they are being written.
type draft struct {
	open map[string]string
	out  language.Checked
}

// lookAt checks a folder, part by part, so that a fault in one file hides none in another.
func lookAt(dir string, open map[string]string) language.Checked {
	f := &draft{open: open}
	f.rules(dir)
	f.vehicles(filepath.Join(dir, "vehicles.yaml"))
	if path := filepath.Join(dir, "people.yaml"); f.text(path) != nil {
		_, err := people.Parse(path, f.text(path))
		f.faults(err)
	}
	if path := filepath.Join(dir, "telltale.yaml"); f.text(path) != nil {
		_, err := readSettings(path, f.text(path))
		f.faults(err)
	}
	return f.out
}

// text is a file as it is open, or else as it lies there; nil where there is none.
func (f *draft) text(path string) []byte {
	if text, ok := f.open[path]; ok {
		return []byte(text)
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return nil
	}
	return text
}

// rules checks the folder's rule files, which are in rules/ or, in a folder of rules
// alone, in it.
func (f *draft) rules(dir string) {
	if in := filepath.Join(dir, "rules"); cli.Exists(in) {
		dir = in
	}
	files, _ := cli.RuleFiles(dir) // of a folder that is not there yet, what is open counts
	for path := range f.open {
		known := func(r rules.File) bool { return r.Name == path }
		if filepath.Dir(path) == dir && strings.HasPrefix(filepath.Ext(path), ".y") && !slices.ContainsFunc(files, known) {
			files = append(files, rules.File{Name: path})
		}
	}
	files = slices.DeleteFunc(files, func(r rules.File) bool { return slices.Contains(otherFiles, filepath.Base(r.Name)) })
	for i := range files {
		files[i].Text = f.text(files[i].Name)
	}
	book, err := rules.Load(files)
	if f.faults(err); err != nil {
		draft, _ := rules.Draft(files)
		f.add(language.Finding{}, draft.Uncautioned)
		f.add(language.Finding{}, cases.Misread(draft))
		f.add(language.Finding{Question: true}, draft.Questions)
		return
	}
	f.out.Book = book
	f.add(language.Finding{}, cases.Misread(book))
	f.add(language.Finding{}, book.Uncautioned)
	f.add(language.Finding{Question: true}, book.Questions)
	f.add(language.Finding{ToFill: true}, book.ToFill)
}

// otherFiles are those of a folder that hold no rules.
var otherFiles = []string{"vehicles.yaml", "people.yaml", "telltale.yaml"}

// vehicles checks the register, and whether the rules go with it.
func (f *draft) vehicles(path string) {
	text := f.text(path)
	if text == nil {
		return
	}
	events, err := intake.Register(path, text, stream.Unclocked)
	if f.faults(err); err != nil {
		return
	}
	f.out.Register = events
	if f.out.Book != nil {
		questions, notes := fit.Questions(f.out.Book, fit.ReadRegister(path, text, events))
		f.add(language.Finding{Question: true}, questions)
		f.add(language.Finding{ToFill: true}, notes)
	}
}

// faults adds those of an error, if any.
func (f *draft) faults(err error) {
	if all, ok := errors.AsType[source.Faults](err); ok {
		f.add(language.Finding{}, all)
	}
}

func (f *draft) add(as language.Finding, faults []source.Fault) {
	for _, fault := range faults {
		as.Fault = fault
		f.out.Findings = append(f.out.Findings, as)
	}
}
