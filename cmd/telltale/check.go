package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/cases"
	"telltale/engine/event"
	"telltale/engine/fit"
	"telltale/engine/stream"
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
	cmd.Flags().BoolVar(&o.json, "json", false, "one JSON object a line for each fault, question, note and failed case, and with --cover for each gap")
	return cmd
}

type checkOptions struct {
	vehicles    string
	cover, json bool
}

func check(ctx context.Context, s cli.Env, o checkOptions, dir string) error {
	t := &teller{s: s}
	if o.json {
		t.take = func(is severity, f *source.Fault) { t.err = errors.Join(t.err, cli.Encode(s.Out, findingOf(is, f))) }
	}
	f, reg, err := checkedFiles(dir, o.vehicles)
	if err != nil {
		err = f.besides(err)
		t.faults(err)
		return err
	}
	t.questions(f, reg)
	t.unplaced(ctx, f, reg)
	results, failed, err := t.cases(f.book, reg.Events, o)
	if err != nil {
		return err
	}
	if err := hindered(ctx, f, reg); err != nil {
		t.faults(err)
		return cli.Exit(2, err)
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d cases failed", failed, results)
	}
	fmt.Fprintf(s.Err, "%s: %s, %s, %s, no faults; %s passed\n", dir, english.Plural(len(f.book.Rules), "rule"), english.Plural(len(f.book.Tasks), "task"),
		english.Plural(len(f.book.Baselines), "baseline"), english.Plural(results, "case"))
	return t.err
}

// questions asks about what in the files is not wrong but deserves a second look, and says
// what waits for a figure. Of rules with faults it asks as far as they can be read.
func (t *teller) questions(f *fleet, reg *fit.Register) {
	var fitting, notes []source.Fault
	if f.book != nil {
		fitting, notes = fit.Questions(f.book, reg)
	}
	for _, q := range slices.Concat(f.draft().Questions, fitting, f.otherQuestions()) {
		t.tell(isQuestion, &q)
	}
	for _, n := range notes {
		t.tell(isNote, &n)
	}
	if f.book != nil {
		t.toFill(f.book)
	}
}

// otherQuestions are those of the folder's people and settings.
func (f *fleet) otherQuestions() (asked []source.Fault) {
	for _, name := range []string{"people.yaml", "telltale.yaml"} {
		path := filepath.Join(f.dir, name)
		if text, err := f.open.Read(path); err == nil && f.whole {
			d, _ := source.Read(path, text)
			asked = append(asked, d.Questions...)
		}
	}
	return asked
}

// unplaced asks about what stands at no place in a file: what the folder lacks, and how it
// goes with the service that runs in it.
func (t *teller) unplaced(ctx context.Context, f *fleet, reg *fit.Register) {
	if path := filepath.Join(f.dir, "vehicles.yaml"); len(reg.Events) == 0 && cli.Exists(path) {
		t.ask("%s has no vehicles; reports are kept, but not judged", path)
	}
	leftOutOfService(ctx, t, f.dir, reg.Events)
	if cli.Exists(filepath.Join(f.dir, "people.yaml")) {
		unheard(t, f.people, f.set.Board.Fleet.Issuer != "", f.book, reg.Events)
	}
}

// cases runs the cases of a book, tells those that failed and asks about those that show
// nothing.
func (t *teller) cases(book *rules.Book, register []event.Event, o checkOptions) (ran, failed int, err error) {
	results, gaps := cases.Run(book, register)
	for i := range results {
		for _, q := range results[i].Questions {
			t.tell(isQuestion, &q)
		}
		if !results[i].OK() {
			failed++
			t.failed(&results[i])
		}
	}
	if o.cover {
		err = cli.Listing(t.s, o.json, gaps, nil, covered(book), cases.Gap.String)
	}
	return len(results), failed, err
}

// hindered is what is wrong with a folder whose files can be read: work without a caution,
// two of which only one may match a component, and what a service needs besides.
func hindered(ctx context.Context, f *fleet, reg *fit.Register) error {
	var errs []error
	if faults := slices.Concat(source.Faults(f.book.Uncautioned), fit.Faults(f.book, reg)); len(faults) > 0 {
		errs = append(errs, fmt.Errorf("the rules have faults:\n%w", faults.Sorted()))
	}
	if f.whole {
		if err := f.before(ctx); err != nil {
			errs = append(errs, fmt.Errorf("the service could not start, or could not send every message:\n%w", err))
		}
	}
	return errors.Join(errs...)
}

// draft is the book or, of one with faults, what can be read.
func (f *fleet) draft() *rules.Book {
	if f.book != nil {
		return f.book
	}
	draft, _ := rules.Draft(f.files)
	return draft
}

// besides adds to what is wrong with a folder, if anything, what its rules lack besides:
// cautions, and events of cases that can be read.
func (f *fleet) besides(err error) error {
	draft := f.draft()
	more := source.Faults(slices.Concat(draft.Uncautioned, cases.Misread(draft)))
	if len(more) == 0 {
		return err
	}
	placed, others := apart(err)
	all := append(placed, more...).Sorted()
	if len(others) == 0 && !f.whole {
		return cli.Exit(2, fmt.Errorf("the rules have faults:\n%w", all))
	}
	return cli.Exit(2, errors.Join(append(others, all)...))
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

// checkedFiles reads a fleet's folder, or one of rules alone. With an error, f holds the
// rules' files.
func checkedFiles(dir, vehicles string) (f *fleet, reg *fit.Register, err error) {
	f = &fleet{dir: dir, people: &people.Directory{}}
	if in := rulesIn(dir); in != dir {
		if err := f.read(in); err != nil {
			return f, nil, cli.Exit(2, err)
		}
		if path := filepath.Join(dir, "vehicles.yaml"); vehicles == "" && cli.Exists(path) {
			vehicles = path
		}
	} else if f.files, err = f.open.RuleFiles(in); err == nil {
		f.book, err = cli.Load(f.files)
	}
	if vehicles == "" {
		return f, &fit.Register{}, err
	}
	reg, unread := registerFile(vehicles, f.open)
	if err != nil && unread != nil {
		return f, nil, cli.Exit(2, errors.Join(err, unread))
	}
	return f, reg, cmp.Or(err, unread)
}

// registerFile is the register in a file, with its text.
func registerFile(path string, open cli.Texts) (*fit.Register, error) {
	events, err := open.Register(path, stream.Unclocked)
	if err != nil {
		return nil, err
	}
	text, err := open.Read(path)
	if err != nil {
		return nil, fmt.Errorf("reading the register: %w", err)
	}
	return fit.ReadRegister(path, text, events), nil
}

// leftOutOfService says which vehicles of the folder's service, where one runs, the
// register no longer names.
func leftOutOfService(ctx context.Context, t *teller, dir string, register []event.Event) {
	if !cli.Exists(filepath.Join(dir, "nats.url")) {
		return // none runs
	}
	d, err := t.s.Door(dir)
	if err != nil {
		return
	}
	nc, err := d.Open("telltale check", time.Second)
	if err != nil {
		return // it ended without taking its address away
	}
	defer nc.Close()
	all, err := service.Register.Ask(ctx, nc, service.Question{})
	if err != nil {
		return
	}
	for _, key := range leftOut(register, all) {
		t.ask("%s is in service, and vehicles.yaml no longer names it; %s", key, leftOutHint(key))
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
