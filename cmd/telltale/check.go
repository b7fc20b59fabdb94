package main

import (
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/cases"
	"telltale/engine/fit"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/schema"
	"telltale/rules/source"
	"telltale/rules/word"
)

func checkCommand(s cli.Env) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check DIR",
		Short: "Check a folder's rules, vehicles, people and settings, run its cases, and show every fault",
		Example: `  telltale check fleet
  telltale check fleet/rules --vehicles fleet/vehicles.yaml --cover`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return check(cmd.Context(), s, o, args[0]) },
	}
	cmd.Flags().StringVar(&o.vehicles, "vehicles", "", "register that cases may take vehicles from (DIR/vehicles.yaml where DIR holds rules/)")
	cmd.Flags().BoolVar(&o.cover, "cover", false, "list the rules, tasks and stages that no case raises or clears")
	cmd.Flags().BoolVar(&o.json, "json", false, "with --cover: one JSON object a line")
	return cmd
}

type checkOptions struct {
	vehicles    string
	cover, json bool
}

func check(ctx context.Context, s cli.Env, o checkOptions, dir string) error {
	f, reg, err := checkedFiles(dir, o.vehicles)
	if err != nil {
		return err
	}
	book := f.book
	register := reg.Events
	if len(book.Uncautioned) > 0 {
		return cli.Exit(2, fmt.Errorf("the rules have faults:\n%w", source.Faults(book.Uncautioned)))
	}
	for _, q := range slices.Concat(book.Questions, fit.Questions(book, reg)) {
		fmt.Fprintf(s.Err, "question: %s\n", q.String())
	}
	toFill(s, book)
	if path := filepath.Join(dir, "vehicles.yaml"); len(register) == 0 && cli.Exists(path) {
		fmt.Fprintf(s.Err, "question: %s holds no vehicle; what is reported is kept, but not judged\n", path)
	}
	if cli.Exists(filepath.Join(dir, "people.yaml")) {
		unheard(s, f.people, book, register)
	}
	results, gaps := cases.Run(book, register)
	failed := 0
	for i := range results {
		if !results[i].OK() {
			failed++
			fmt.Fprintln(s.Out, results[i].String())
		}
	}
	if o.cover {
		if err := cli.Listing(s, o.json, gaps, nil, covered(book), cases.Gap.String); err != nil {
			return err
		}
	}
	if f.whole {
		if err := f.before(ctx); err != nil {
			return cli.Exit(2, fmt.Errorf("the service could not start, or could not send every message:\n%w", err))
		}
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d cases failed", failed, len(results))
	}
	fmt.Fprintf(s.Err, "%s: %d rules, %d tasks, %d baselines, no faults; %d cases passed\n", dir, len(book.Rules), len(book.Tasks), len(book.Baselines), len(results))
	return nil
}

// covered says that the cases leave no gap, and of what they cannot show anything yet.
func covered(book *rules.Book) string {
	var waiting []string
	for _, r := range book.Rules {
		if len(r.ToFill) > 0 {
			waiting = append(waiting, r.Name)
		}
	}
	for _, t := range book.Tasks {
		if len(t.ToFill) > 0 {
			waiting = append(waiting, t.Name)
		}
	}
	all := "every stage is raised and cleared by some case"
	if len(waiting) == 0 {
		return all
	}
	return all + "; nothing can be shown before their figures are filled in of: " + strings.Join(waiting, ", ")
}

// checkedFiles reads a fleet's folder, or one of rules alone.
func checkedFiles(dir, vehicles string) (f *fleet, reg *fit.Register, err error) {
	reg = &fit.Register{}
	if cli.Exists(filepath.Join(dir, "rules")) {
		if f, err = loadFleet(dir); err != nil {
			return nil, nil, err
		}
		f.whole, reg.Events = true, f.register
		if path := filepath.Join(dir, "vehicles.yaml"); vehicles == "" && cli.Exists(path) {
			vehicles = path
		}
	} else {
		f = &fleet{dir: dir, people: &people.Directory{}}
		if f.book, err = cli.Book(dir); err != nil {
			return nil, nil, err
		}
	}
	if vehicles == "" {
		return f, reg, nil
	}
	events, err := cli.Register(vehicles, time.Unix(0, 0))
	if err != nil {
		return nil, nil, err
	}
	text, err := os.ReadFile(vehicles)
	if err != nil {
		return nil, nil, fmt.Errorf("reading the register: %w", err)
	}
	return f, fit.ReadRegister(vehicles, text, events), nil
}

func wordsCommand(s cli.Env) *cobra.Command {
	rulesCmd := &cobra.Command{Use: "rules", Short: "About the rule language"}
	var asJSON bool
	words := &cobra.Command{
		Use:   "words",
		Short: "List what a rule may ask",
		Args:  cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error {
			return cli.Listing(s, asJSON, word.All(), nil, "", func(w word.Info) string {
				return fmt.Sprintf("%s  (%s)\n    %s\n    for example: %s\n    source: %s", w.Signature, cmp.Or(w.Unit, "a ratio"), w.Meaning, w.Example, w.Source)
			})
		},
	}
	words.Flags().BoolVar(&asJSON, "json", false, "one JSON object a line")
	rulesCmd.AddCommand(words)
	return rulesCmd
}

func schemaCommand(s cli.Env) *cobra.Command {
	return &cobra.Command{
		Use:       "schema rules|people|vehicles|import",
		Short:     "Print the JSON Schema of a kind of file, for editors with support for YAML",
		Args:      cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs),
		ValidArgs: schema.Names,
		RunE: func(_ *cobra.Command, args []string) error {
			if _, err := s.Out.Write(schema.Of(args[0])); err != nil {
				return fmt.Errorf("writing the schema: %w", err)
			}
			return nil
		},
	}
}
