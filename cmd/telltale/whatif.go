package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"golang.org/x/term"

	"telltale/engine"
	"telltale/engine/whatif"
	"telltale/notify"
)

// shownDifferences is how many differences of a rule are listed without --all.
const shownDifferences = 10

// whatIf folds a file by two books and shows how their alarms differ.
func whatIf(s streams, o replayOptions, path string) error {
	cfg, err := o.whatIfConfig(s)
	if err != nil {
		return err
	}
	file, own, err := openEvents(path)
	if err != nil {
		return err
	}
	defer file.Close()
	cfg.File.Own = own
	out := bufio.NewWriter(s.out)
	shown := map[string]int{}
	cfg.Each = func(d whatif.Difference) error {
		if shown[d.Rule]++; o.json {
			return encode(out, d)
		}
		if o.all || shown[d.Rule] <= shownDifferences {
			fmt.Fprintln(out, differenceLine(d))
		}
		return nil
	}
	bar := newProgress(s.err, file)
	report, err := whatif.Run(cfg, bar)
	bar.end()
	if err != nil {
		return exit{2, fmt.Errorf("reading %s: %w", path, err)}
	}
	if o.json {
		err = encode(out, report)
	} else {
		writeReport(out, report, shown, o.all)
	}
	if err := errors.Join(err, out.Flush()); err != nil {
		return fmt.Errorf("writing the differences: %w", err)
	}
	fmt.Fprintf(s.err, "replay: %d events by two books; %d lines damaged, %d and %d refused, %d and %d not judged\n", report.Events, report.Damaged,
		report.Refused[whatif.Old], report.Refused[whatif.New], report.NotJudged[whatif.Old], report.NotJudged[whatif.New])
	return nil
}

func (o *replayOptions) whatIfConfig(s streams) (cfg whatif.Config, err error) {
	if cfg.New, err = loadBook(o.rules); err != nil {
		return cfg, err
	}
	if cfg.Old, err = loadBook(o.against); err != nil {
		return cfg, err
	}
	if cfg.File, err = o.file(); err != nil {
		return cfg, err
	}
	if o.people != "" {
		dir, err := notify.Load(o.people)
		if err != nil {
			return cfg, exit{2, err}
		}
		cfg.Hears = hears(dir)
	}
	cfg.File.Damaged = func(line int, reason error) error {
		if !o.keepGoing {
			return hinted{fmt.Errorf("line %d: %w", line, reason), "--keep-going reports such lines and goes on"}
		}
		fmt.Fprintf(s.err, "line %d: %v\n", line, reason)
		return nil
	}
	return cfg, nil
}

// hears names who gets a message at once for what one event brought.
func hears(dir *notify.Directory) func(*engine.Partition, []engine.Output) []string {
	return func(p *engine.Partition, out []engine.Output) []string {
		register := func(id string) notify.Vehicle { return known(id, p.Registered(id)) }
		var people []string
		for _, m := range notify.Tell(dir, register, notify.Cause{Key: "what-if"}, out) {
			people = append(people, m.Person)
		}
		return people
	}
}

func encode(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// differenceLine is one difference as a terminal shows it.
func differenceLine(d whatif.Difference) string {
	where := d.Vehicle
	if d.Component != "" {
		where += " " + d.Component
	}
	when := func(t time.Time, stage string) string { return t.Format(time.DateOnly) + " " + stage }
	var what string
	switch d.Difference {
	case whatif.OnlyOld:
		what = "no longer raised; was " + when(d.OldRaised, d.OldStage)
	case whatif.OnlyNew:
		what = "new, " + when(d.NewRaised, d.NewStage)
	default:
		what = fmt.Sprintf("%s, %s; was %s", d.Difference, when(d.NewRaised, d.NewStage), when(d.OldRaised, d.OldStage))
	}
	line := fmt.Sprintf("%-22s %s: %s", where, d.Rule, what)
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
	for _, p := range sortedPeople(r.People) {
		fmt.Fprintf(w, "%-*s  %6d %6d\n", width, p, r.People[p][whatif.Old], r.People[p][whatif.New])
	}
}

func sortedPeople(m map[string][2]int) []string {
	var out []string
	for p := range m {
		out = append(out, p)
	}
	slices.Sort(out)
	return out
}

// progress shows on a terminal how far a file has been read; elsewhere it only
// hands on.
type progress struct {
	io.Reader
	w           io.Writer // nil where there is nobody to look at it
	read, whole int64
	shown       time.Time
}

func newProgress(w io.Writer, file *os.File) *progress {
	p := &progress{Reader: file}
	info, err := file.Stat()
	if terminal(w) && err == nil && info.Mode().IsRegular() && info.Size() > 0 {
		p.w, p.whole = w, info.Size()
	}
	return p
}

// terminal reports whether a stream is one, where a person sits.
func terminal(stream any) bool {
	f, ok := stream.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

func (p *progress) Read(b []byte) (int, error) {
	n, err := p.Reader.Read(b)
	if p.read += int64(n); p.w != nil && time.Since(p.shown) > 100*time.Millisecond {
		p.shown = time.Now()
		const width = 40
		done := int(p.read * width / p.whole)
		fmt.Fprintf(p.w, "\r[%s%s] %3d %%", strings.Repeat("#", done), strings.Repeat(" ", width-done), p.read*100/p.whole)
	}
	return n, err
}

// end takes the bar away.
func (p *progress) end() {
	if p.w != nil {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", 50))
	}
}
