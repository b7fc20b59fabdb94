// Package cases runs the examples that rule files carry: it folds what a case
// gives and compares what follows with what it expects. A case that cannot be
// read, or whose events are refused, fails.
package cases

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/rules"
	"telltale/rules/source"
)

// Result is how one case came out.
type Result struct {
	Case *rules.Case
	// Faults are the events that could not be read or were refused.
	Faults source.Faults
	// Rows are what was expected beside what came, in order of time, of the rules
	// that the case speaks of.
	Rows []Row
	// Got are all the transitions that the case brought about.
	Got []*alarm.Transition
	// Notes say which of those rules could not be judged, and why.
	Notes []string
	// Questions are whether a case that came out shows anything: a rule that it speaks of
	// was never judged in it.
	Questions source.Faults
}

// Row is one transition; Expected or Got is empty where there is only the other.
type Row struct {
	Date          string // YYYY-MM-DD, UTC
	Expected, Got string
}

func (r Row) agrees() bool { return r.Expected != "" && r.Got != "" }

// OK reports whether everything came as expected.
func (r *Result) OK() bool {
	return len(r.Faults) == 0 && !slices.ContainsFunc(r.Rows, func(r Row) bool { return !r.agrees() })
}

// Run runs all cases of a book, in order of name. A vehicle that a case does not
// register is looked up in the register (the events of intake.Register), which
// may be empty. The last result lists what no case shows.
func Run(b *rules.Book, register []event.Event) ([]Result, []Gap) {
	out := make([]Result, 0, len(b.Cases))
	shown := newCover(b)
	for _, c := range b.Cases {
		r := runner{book: c.In(b), register: register, c: c, shown: shown}
		out = append(out, r.run())
	}
	return out, shown.gaps()
}

// runner folds one case.
type runner struct {
	book     *rules.Book
	register []event.Event
	c        *rules.Case
	p        *engine.Partition
	shown    *cover
	faults   source.Faults
	// fleet is what the case says is usual in the fleet, given how often it says so. Where
	// it does, nothing is made of its own samples.
	fleet []fleet.SurveySample
	given int
	got   []*alarm.Transition
	notes []string
}

func (r *runner) run() Result {
	events := r.read()
	if len(r.faults) == 0 {
		events = r.registered(events)
	}
	if len(r.faults) == 0 {
		r.fold(events)
	}
	res := Result{Case: r.c, Faults: r.faults, Notes: r.notes, Got: r.got}
	if len(r.faults) == 0 {
		res.Rows = compare(r.c, r.got)
	}
	if res.OK() {
		res.Questions = r.unjudged()
	}
	return res
}

// read reads the events of the case; each is named by its place in it.
func (r *runner) read() []event.Event {
	var out []event.Event
	for i := range r.c.Given {
		g := &r.c.Given[i]
		ev, err := r.event(g.Text, fmt.Sprintf("event %d", i+1))
		at, placed := errors.AsType[*intake.ShortFault](err)
		switch {
		case placed:
			r.faults = append(r.faults, g.Fault(at.Col-1, at.Width, hint(g.Text), at.Text))
		case err != nil:
			r.faults = append(r.faults, g.Fault(0, 0, hint(g.Text), strings.TrimPrefix(err.Error(), "data.")))
		}
		ev.Line = i + 1
		out = append(out, ev)
	}
	return out
}

// event reads one line.
func (r *runner) event(line, id string) (event.Event, error) {
	part, is, err := intake.ShortBaseline(line, r.book, r.c.Units)
	switch {
	case err != nil:
		return event.Event{}, err
	case is:
		return r.usual(part), nil
	}
	return intake.Short(line, id, r.c.Units)
}

// usual puts what the line says is usual in a group beside what was said of others
// before, as a survey of the fleet would.
func (r *runner) usual(part fleet.SurveyPart) event.Event {
	same := func(s fleet.SurveySample) bool {
		return s.Baseline == part.Samples[0].Baseline && slices.Equal(s.Group, part.Samples[0].Group)
	}
	r.fleet = append(slices.DeleteFunc(r.fleet, same), part.Samples...)
	part.Samples = r.fleet
	r.given++
	return fleet.Make(r.book, r.given, []fleet.SurveyPart{part}).Event()
}

// forms are examples of the short form by the word that says what happened.
var forms = map[string]string{
	"vehicle":  `2031-01-02 vehicle bus-07 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L`,
	"reading":  "2031-01-03 reading bus-07 odometer 81234 km",
	"replaced": "2031-02-01 replaced bus-07 odometer 83000 km 12 km",
	"sample":   "2031-02-10 sample bus-07 transmission odo 81200 age 62000 Cu 131 Pb <1",
	"service":  `2031-02-10 service bus-07 "transmission fluid" on transmission odo 81200 filled 4 L`,
	"answer":   `2031-02-20 answer bus-07 acknowledge "copper over baseline" on transmission by ines`,
	"baseline": `2031-02-01 baseline "engine oil of the fleet" of 15W-40 of bus age 11000 km Fe 21 Pb 1 2 <2`,
	"void":     `2031-02-21 void bus-07 "event 3"`,
	"tick":     "2031-02-22 tick",
}

func hint(text string) string {
	if words := strings.Fields(text); len(words) > 1 && forms[words[1]] != "" {
		return "for example: " + forms[words[1]]
	}
	return "for example: " + forms["sample"]
}

// registered puts before the events the registrations of the vehicles that the
// case does not register itself.
func (r *runner) registered(events []event.Event) []event.Event {
	known := map[string]bool{}
	for _, ev := range events {
		known[ev.Vehicle] = known[ev.Vehicle] || ev.Kind == event.VehicleEvent
	}
	var first []event.Event
	for _, ev := range events {
		if ev.Vehicle == "" || known[ev.Vehicle] {
			continue
		}
		known[ev.Vehicle] = true
		i := slices.IndexFunc(r.register, func(reg event.Event) bool { return reg.Vehicle == ev.Vehicle })
		if i < 0 {
			g := &r.c.Given[ev.Line-1]
			r.faults = append(r.faults, g.Fault(0, 0, "begin the case with it: "+strings.Replace(forms["vehicle"], "bus-07", ev.Vehicle, 1),
				fmt.Sprintf("neither the case nor the register has a vehicle %q", ev.Vehicle)))
			continue
		}
		reg, err := intake.At(r.register[i], events[0].Recorded)
		if err != nil {
			r.faults = append(r.faults, r.c.Fault("", err.Error()))
			continue
		}
		first = append(first, reg)
	}
	return append(first, events...)
}

// fold folds the events with a tick at each midnight that they pass; an event
// `tick` lets the time pass up to it.
func (r *runner) fold(events []event.Event) {
	r.p = replay.File{Own: intake.Own{Baselines: r.given > 0}}.Partition(r.book)
	for ev := range replay.Ticked(events) {
		if ev.Kind != event.TickEvent || !ev.Time.Equal(r.p.Now()) {
			r.apply(ev)
		}
	}
}

func (r *runner) apply(ev event.Event) {
	for _, o := range r.p.Apply(ev) {
		switch {
		case o.Transition != nil:
			r.shown.see(o.Transition)
			r.got = append(r.got, o.Transition)
		case o.Refused != nil && o.Refused.Line > 0:
			g := &r.c.Given[o.Refused.Line-1]
			r.faults = append(r.faults, g.Fault(0, 0, "", "the event is refused: "+o.Refused.Refused))
		case o.Refused != nil:
			r.faults = append(r.faults, r.c.Fault("", "refused: "+o.Refused.Refused))
		case o.NotJudged != nil:
			r.note(o.NotJudged)
		}
	}
}

func (r *runner) note(n *alarm.NotJudged) {
	if !speaksOf(r.c, n.Rule) {
		return
	}
	text := fmt.Sprintf("%s %s could not be judged without %s", n.Time.Format("2006-01-02"), n.Rule, strings.Join(n.Missing, ", "))
	if !slices.Contains(r.notes, text) {
		r.notes = append(r.notes, text)
	}
}

func speaksOf(c *rules.Case, rule string) bool { return len(c.Of) == 0 || slices.Contains(c.Of, rule) }
