package main

import (
	"errors"
	"io"
	"path/filepath"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/language"
	"telltale/engine/fit"
	"telltale/notify/people"
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

// otherFiles are those of a folder that hold no rules.
var otherFiles = []string{"vehicles.yaml", "people.yaml", "telltale.yaml"}

// lookAt gathers what the check says of a folder's files, as far as each can be read. The
// cases are left to the check: running them all takes longer than typing a word.
func lookAt(dir string, open map[string]string) (out language.Checked) {
	t := &teller{take: func(is severity, f *source.Fault) {
		if f.File != "" { // an editor shows what stands in a file
			out.Findings = append(out.Findings, language.Finding{Fault: *f, Question: is == isQuestion, ToFill: is == isToFill || is == isNote})
		}
	}}
	f := &fleet{dir: dir, open: open, people: &people.Directory{}}
	t.faults(f.besides(f.read(rulesIn(dir))))
	reg, err := registerFile(filepath.Join(dir, "vehicles.yaml"), f.open)
	if err != nil { // there is none, or its faults are told
		reg = &fit.Register{}
	}
	t.questions(f, reg)
	if f.book != nil {
		t.faults(fit.Faults(f.book, reg))
	}
	out.Book, out.Register = f.book, reg.Events
	return out
}
