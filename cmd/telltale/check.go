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

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/engine/fit"
	"telltale/engine/stream/service"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/schema"
	"telltale/rules/source"
	"telltale/rules/word"
)

func checkCommand(s cli.Env) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check DIR",
		Short: "Check a folder's rules, vehicles, people and settings, run its cases, and show every mistake",
		Example: `  telltale check fleet
  telltale check fleet/rules --vehicles fleet/vehicles.yaml --cover`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return check(cmd.Context(), s, o, args[0]) },
	}
	cmd.Flags().StringVar(&o.vehicles, "vehicles", "", "the register to check the rules against (default DIR/vehicles.yaml)")
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
	questions, notes := fit.Questions(book, reg)
	for _, q := range slices.Concat(book.Questions, questions) {
		fmt.Fprintf(s.Err, "question: %s\n", q.String())
	}
	for _, n := range notes {
		fmt.Fprintf(s.Err, "note: %s\n", n.String())
	}
	toFill(s, book)
	if path := filepath.Join(dir, "vehicles.yaml"); len(register) == 0 && cli.Exists(path) {
		fmt.Fprintf(s.Err, "question: %s has no vehicles; reports are kept, but not judged\n", path)
	}
	leftOutOfService(ctx, s, dir, register)
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
	fmt.Fprintf(s.Err, "%s: %s, %s, %s, no faults; %s passed\n", dir, english.Plural(len(book.Rules), "rule"), english.Plural(len(book.Tasks), "task"),
		english.Plural(len(book.Baselines), "baseline"), english.Plural(len(results), "case"))
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
	return all + "; not counted: these, which have values to fill in: " + strings.Join(waiting, ", ")
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

// leftOutOfService says which vehicles of the folder's service, where one runs, the
// register no longer names.
func leftOutOfService(ctx context.Context, s cli.Env, dir string, register []event.Event) {
	url, err := os.ReadFile(filepath.Join(dir, "nats.url"))
	if err != nil {
		return // none runs
	}
	nc, err := nats.Connect(strings.TrimSpace(string(url)), nats.Timeout(time.Second))
	if err != nil {
		return // it ended without taking its address away
	}
	defer nc.Close()
	all, err := service.Register.Ask(ctx, nc, service.Question{})
	if err != nil {
		return
	}
	for _, key := range leftOut(register, all) {
		fmt.Fprintf(s.Err, "question: %s is in service, and vehicles.yaml no longer names it; %s\n", key, leftOutHint(key))
	}
}

func wordsCommand(s cli.Env) *cobra.Command {
	rulesCmd := &cobra.Command{Use: "rules", Short: "Look up the rule language"}
	var asJSON bool
	words := &cobra.Command{
		Use:   "words",
		Short: "List everything a rule can ask for",
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
		Use:       "schema " + strings.Join(schema.Names, "|"),
		Short:     "Print the JSON Schema of a file, for editors that support YAML",
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
