package ask

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/whatif"
	"telltale/notify"
	"telltale/notify/people"
)

// shownDifferences is how many differences of a rule are listed without --all.
const shownDifferences = 10

// whatIf folds a file by two books and shows how their alarms differ.
func whatIf(s cli.Env, o replayOptions, path string) error {
	cfg, err := o.whatIfConfig(s)
	if err != nil {
		return err
	}
	file, err := OpenEvents(path, &cfg.File)
	if err != nil {
		return err
	}
	defer file.Close()
	out := bufio.NewWriter(s.Out)
	shown := map[string]int{}
	cfg.Each = func(d whatif.Difference) error {
		if shown[d.Rule]++; o.json {
			return cli.Encode(out, d)
		}
		if o.all || shown[d.Rule] <= shownDifferences {
			fmt.Fprintln(out, differenceLine(d))
		}
		return nil
	}
	bar := cli.NewProgress(s.Err, file)
	report, err := whatif.Run(cfg, bar)
	bar.End()
	if err != nil {
		return cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	if o.json {
		err = cli.Encode(out, report)
	} else {
		writeReport(out, report, shown, o.all)
	}
	if err := errors.Join(err, out.Flush()); err != nil {
		return fmt.Errorf("writing the differences: %w", err)
	}
	fmt.Fprintf(s.Err, "replay: %d events by two books; %d lines damaged, %d and %d refused, %d and %d not judged\n", report.Events, report.Damaged,
		report.Refused[whatif.Old], report.Refused[whatif.New], report.NotJudged[whatif.Old], report.NotJudged[whatif.New])
	o.noteSkipped(s)
	return nil
}

func (o *replayOptions) whatIfConfig(s cli.Env) (cfg whatif.Config, err error) {
	if cfg.New, err = cli.Book(o.rules); err != nil {
		return cfg, err
	}
	if cfg.Old, err = cli.Book(o.against); err != nil {
		return cfg, err
	}
	if cfg.File, err = File(o.vehicles, o.until); err != nil {
		return cfg, err
	}
	if o.people != "" {
		dir, err := people.Load(o.people)
		if err != nil {
			return cfg, cli.Exit(2, err)
		}
		cfg.Hears = hears(dir)
	}
	cfg.File.Skipped, cfg.File.By = o.skip, o.asker(s)
	cfg.File.Damaged = func(line int, reason error) error {
		fmt.Fprintf(s.Err, "line %d: %v\n", line, reason)
		return nil
	}
	return cfg, nil
}

// hears names who gets a message at once for what one event brought.
func hears(dir *people.Directory) func(*engine.Partition, []engine.Output) []string {
	return func(p *engine.Partition, out []engine.Output) []string {
		register := func(id string) people.Vehicle { return notify.VehicleOf(id, p.Registered(id)) }
		var told []string
		for _, m := range notify.Tell(dir, register, notify.Cause{Key: "what-if"}, out) {
			told = append(told, m.Person)
		}
		return told
	}
}

// differenceLine is one difference as a terminal shows it.
func differenceLine(d whatif.Difference) string {
	when := func(t time.Time, stage alarm.Stage) string { return t.Format(time.DateOnly) + " " + string(stage) }
	var what string
	switch d.Difference {
	case whatif.OnlyOld:
		what = "no longer raised; was " + when(d.OldRaised, d.OldStage)
	case whatif.OnlyNew:
		what = "new, " + when(d.NewRaised, d.NewStage)
	default:
		what = fmt.Sprintf("%s, %s; was %s", d.Difference, when(d.NewRaised, d.NewStage), when(d.OldRaised, d.OldStage))
	}
	line := fmt.Sprintf("%-22s %s: %s", cli.Where(d.Vehicle, d.Component), d.Rule, what)
	if d.Message != "" && !strings.EqualFold(d.Message, d.Rule) {
		line += "\n" + strings.Repeat(" ", 23) + d.Message
	}
	return line
}

var differenceKinds = []string{whatif.OnlyOld, whatif.OnlyNew, whatif.Earlier, whatif.Later, whatif.Worse, whatif.Milder}

// writeReport is the table of rules, and of people where they were named.
func writeReport(w io.Writer, r *whatif.Report, shown map[string]int, all bool) {
	width := len("messages at once to")
	for _, n := range r.Rules {
		width = max(width, len([]rune(n.Rule)))
		if left := shown[n.Rule] - shownDifferences; left > 0 && !all {
			fmt.Fprintf(w, "%s: %d more differences; --all lists them\n", n.Rule, left)
		}
	}
	if len(shown) > 0 {
		fmt.Fprintln(w)
	}
	fmt.Fprintf(w, "vehicles: %d; months of 30 days: %.1f; alarms raised by the old book and by the new:\n\n", r.Vehicles, r.Months)
	fmt.Fprintf(w, "%-*s  %6s %6s  %18s  differences\n", width, "rule or task", "old", "new", "per 100 a month")
	for _, n := range r.Rules {
		var parts []string
		for _, kind := range differenceKinds {
			if n.Differences[kind] > 0 {
				parts = append(parts, fmt.Sprintf("%d %s", n.Differences[kind], kind))
			}
		}
		line := fmt.Sprintf("%-*s  %6d %6d  %8.1f %8.1f  %s", width, n.Rule, n.Raised[whatif.Old], n.Raised[whatif.New],
			n.Per100[whatif.Old], n.Per100[whatif.New], strings.Join(parts, ", "))
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
	if len(r.People) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%-*s  %6s %6s\n", width, "messages at once to", "old", "new")
	for _, p := range slices.Sorted(maps.Keys(r.People)) {
		fmt.Fprintf(w, "%-*s  %6d %6d\n", width, p, r.People[p][whatif.Old], r.People[p][whatif.New])
	}
}
