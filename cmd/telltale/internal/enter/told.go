package enter

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/sample"
	"telltale/engine/stream/gateway"
	"telltale/engine/why"
	"telltale/rules/english"
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

func (o *options) encode(s cli.Env, e *gateway.Entered) error {
	for i := range e.Events {
		ev := &e.Events[i]
		text, err := intake.Encode(*ev)
		if err != nil {
			return err
		}
		t := told{Line: ev.Line, Dry: o.dry, Entry: text, WouldEntry: e.Would[i], Tasks: follows.Concerned(ev, e.Of[ev.Vehicle].Tasks), Verdicts: follows.Verdicts(ev, e.Of[ev.Vehicle])}
		if err := cli.Encode(s.Out, t); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	return nil
}

// answer says what follows of each entry: of many a line each.
func (o *recordOptions) answer(s cli.Env, e *gateway.Entered, many bool) error {
	if o.JSON {
		return o.encode(s, e)
	}
	for i := range e.Events {
		ev, would := &e.Events[i], &e.Would[i]
		of := e.Of[ev.Vehicle]
		lines := follows.AsWritten.Of(ev, would, of, many)
		if many {
			line := fmt.Sprintf("line %d: %s: %s", ev.Line, ev.Vehicle, follows.What(ev, follows.Said(of)))
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

// aside tells, beside the answer, under which name it was entered, and of work of the past
// how to enter the checks that came after it, lest they be asked for now.
func (o *recordOptions) aside(s cli.Env, ev *event.Event, e *engine.WouldEntry, tasks []why.Why) {
	o.enteredAs(s, ev, e)
	d, ok := ev.Data.(*event.ServiceData)
	if !ok {
		return
	}
	var checks []string
	for _, y := range follows.Concerned(ev, tasks) {
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
