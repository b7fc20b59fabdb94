package enter

import (
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/sample"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// told is the answer to one entry, as JSON.
type told struct {
	Line  int             `json:"line,omitempty"`
	Dry   bool            `json:"dry,omitempty"`
	Entry json.RawMessage `json:"entry"` // the CloudEvent
	engine.WouldEntry
	// Tasks are those that the work lists or opened.
	Tasks    []why.Why        `json:"tasks,omitempty"`
	Verdicts []sample.Verdict `json:"verdicts,omitempty"`
}

func (o *options) encode(s cli.Env, e *entered) error {
	for i := range e.events {
		ev := &e.events[i]
		text, err := intake.Encode(*ev)
		if err != nil {
			return err
		}
		t := told{Line: ev.Line, Dry: o.dry, Entry: text, WouldEntry: e.would[i], Tasks: concerned(ev, e.of[ev.Vehicle].Tasks), Verdicts: verdicts(ev, e.of[ev.Vehicle])}
		if err := cli.Encode(s.Out, t); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	return nil
}

// verdicts are those of the sheet's component.
func verdicts(ev *event.Event, w engine.Would) []sample.Verdict {
	d, ok := ev.Data.(*event.SampleData)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(w.Verdicts), func(v sample.Verdict) bool { return v.Component != d.Component })
}

// answer says what follows of each entry: of many a line each.
func (o *recordOptions) answer(s cli.Env, e *entered, many bool) error {
	if o.JSON {
		return o.encode(s, e)
	}
	for i := range e.events {
		ev, would := &e.events[i], &e.would[i]
		of := e.of[ev.Vehicle]
		lines := follows(ev, would, of, many)
		if many {
			line := fmt.Sprintf("line %d: %s: %s", ev.Line, ev.Vehicle, what(ev, saidOf(of)))
			if would.Known {
				line += " (entered before)"
			}
			lines = []string{strings.Join(append([]string{line}, lines...), "; ")}
		}
		if err := printed(s.Out, append(notes(ev, would, of, o.dry), lines...)...); err != nil {
			return err
		}
		if !many {
			o.aside(s, ev, would, of.Tasks)
		}
	}
	return nil
}

// follows are the lines of what follows of an entry.
func follows(ev *event.Event, e *engine.WouldEntry, of engine.Would, short bool) []string {
	switch ev.Kind {
	case event.ReadingEvent:
		return readingLines(ev, e, of, short)
	case event.SampleEvent:
		if d, ok := ev.Data.(*event.SampleData); ok && d.ByHand() {
			return measuredLines(ev, d, e, of, short)
		}
		var out []string
		for _, v := range verdicts(ev, of) {
			if short {
				out = append(out, v.Summary)
			} else {
				out = append(out, v.Text())
			}
		}
		return append(out, changes(e, func(t *alarm.Transition) bool { return !t.Task })...)
	}
	lines := workLines(ev, e, of)
	if len(lines) == 0 && !short {
		lines = []string{"recorded; nothing else changes"}
	}
	return lines
}

// measuredLines say where the tasks stand that are due by what was measured, and what else
// changes.
func measuredLines(ev *event.Event, d *event.SampleData, e *engine.WouldEntry, of engine.Would, short bool) (out []string) {
	if !short {
		out = append(out, what(ev, saidOf(of))+" recorded")
	}
	for _, y := range of.Tasks {
		for _, w := range y.Due.Worn {
			if slices.ContainsFunc(d.Results, func(r event.ResultData) bool { return r.Analyte == w.Measure }) {
				out = append(out, named(y.Rule, y.Component)+": "+w.Says)
			}
		}
	}
	return append(out, changes(e, untold)...)
}

// readingLines say what a reading changes, and what is due then.
func readingLines(ev *event.Event, e *engine.WouldEntry, of engine.Would, short bool) (out []string) {
	if !short {
		out = append(out, what(ev, saidOf(of))+" recorded")
	}
	out = append(out, changes(e, untold)...)
	return append(out, onTheList(of.Due))
}

// onTheList names what is overdue, due and soon, in this order.
func onTheList(list []due.Item) string {
	var parts []string
	for i := 0; i < len(list); {
		stage := list[i].Stage
		var names []string
		for ; i < len(list) && list[i].Stage == stage; i++ {
			names = append(names, named(list[i].Task, list[i].Component))
		}
		parts = append(parts, string(stage)+": "+strings.Join(names, ", "))
	}
	if parts == nil {
		return "nothing is due"
	}
	return strings.Join(parts, "; ")
}

// aside tells, beside the answer, under which name it was entered, and of work of the past
// how to enter the checks that came after it, lest they be asked for now.
func (o *recordOptions) aside(s cli.Env, ev *event.Event, e *engine.WouldEntry, tasks []why.Why) {
	o.enteredAs(s, ev, e)
	d, ok := ev.Data.(*event.ServiceData)
	if !ok {
		return
	}
	var checks []string
	for _, y := range concerned(ev, tasks) {
		if by := y.Due.By; y.Due.FollowUp && by != nil && *by == ev.ID && !slices.Contains(d.Tasks, y.Rule) {
			checks = append(checks, english.Typed(y.Rule))
		}
	}
	if len(checks) == 0 || !o.past {
		return
	}
	call := "telltale record " + english.Typed(ev.Vehicle) + " " + strings.Join(checks, " ")
	if o.Dir != "" {
		call += " --dir " + o.Dir
	}
	fmt.Fprintln(s.Err, cli.Printable("hint: enter the checks as well, if they were done: "+call+" --on "+ev.Time.AddDate(0, 0, 1).Format(time.DateOnly)))
}

// enteredAs says under which name it was entered, or that it was before.
func (o *options) enteredAs(s cli.Env, ev *event.Event, e *engine.WouldEntry) {
	switch {
	case e.Known:
		fmt.Fprintln(s.Err, "entered before: nothing was added")
	case !o.dry:
		fmt.Fprintln(s.Err, cli.Printable("entered as "+ev.ID.ID+"; to take it back: "+undoCall(ev)))
	}
}

func quantityOf(v float64, u string) *unit.Quantity { return &unit.Quantity{Value: v, Unit: u} }

func meterWords(d *event.ServiceData) []string { return wordsOf(d.Meters) }

func wordsOf(meters map[string]unit.Quantity) (out []string) {
	for _, name := range slices.Sorted(maps.Keys(meters)) {
		q := meters[name]
		out = append(out, name+" "+english.Quantity(&q))
	}
	return out
}
