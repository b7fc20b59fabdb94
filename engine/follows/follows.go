// Package follows says what follows of an entry, from what [engine.Partition.Would] found:
// when work is due next, what was raised or cleared, what a sheet comes to. A command and
// a page say it in the same words.
package follows

import (
	"cmp"
	"slices"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Named is a rule or task with its component.
func Named(name, component string) string {
	if component != "" {
		return name + " (" + component + ")"
	}
	return name
}

// Words names a stage for whoever reads: in their word on a page, as rules have it in a
// terminal.
type Words func(alarm.Stage) string

// AsWritten names stages as rules do.
var AsWritten Words = func(s alarm.Stage) string { return string(s) }

// Line says what became of an alarm.
func (w Words) Line(t *alarm.Transition) string {
	what := Named(t.Rule, t.Component)
	said := ""
	if t.Message != "" && t.Message != t.Rule {
		said = ": " + t.Message
	}
	switch {
	case t.Transition == alarm.Cleared && t.Task:
		return what + ": OK, no longer due"
	case t.Transition == alarm.Cleared:
		return what + ": OK again"
	case t.Transition == alarm.Withdrawn:
		return what + ": withdrawn" + said
	case t.Transition == alarm.Raised || t.Transition == alarm.Worsened:
		return what + ": now " + w(t.To) + said
	case t.Transition == alarm.Eased:
		return what + ": eased to " + w(t.To) + said
	case t.Transition == alarm.NowAcknowledged:
		return what + ": acknowledged, no more reminders"
	case t.Transition == alarm.NowShelved:
		return what + ": put aside, unless it becomes worse"
	case t.Transition == alarm.Unshelved:
		return what + ": back on the list"
	}
	return what + ": " + string(t.Transition)
}

// Changes are what became of alarms, without those that a doubt has told of.
func (w Words) Changes(e *engine.WouldEntry, told func(*alarm.Transition) bool) (out []string) {
	for i := range e.Follows {
		t := &e.Follows[i]
		doubted := len(e.Doubts) > 0 && t.Transition == alarm.Raised && strings.HasPrefix(t.Rule, "data:")
		if !doubted && !told(t) {
			out = append(out, w.Line(t))
		}
	}
	return out
}

func untold(*alarm.Transition) bool { return false }

// workLines are what follows of work: when each of its tasks is due next, what it opened,
// and what else it changed.
func (w Words) workLines(ev *event.Event, e *engine.WouldEntry, of engine.Would) (out []string) {
	list := Concerned(ev, of.Tasks)
	told := func(t *alarm.Transition) bool {
		return t.Task && slices.ContainsFunc(list, func(y why.Why) bool { return y.Rule == t.Rule && y.Component == t.Component })
	}
	for i := range list {
		out = append(out, Next(&list[i], cmp.Or(Said(of).Distance, SpokenIn(ev))))
	}
	return append(out, w.Changes(e, told)...)
}

// Concerned are the tasks that the work lists, and those that it opened.
func Concerned(ev *event.Event, tasks []why.Why) []why.Why {
	d, ok := ev.Data.(*event.ServiceData)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(tasks), func(y why.Why) bool {
		follows := y.Due.By != nil && *y.Due.By == ev.ID || slices.Contains(d.Tasks, y.Rule)
		return !follows || d.Component != "" && y.Component != "" && y.Component != d.Component
	})
}

// Next is when a task is due next, or was, by each of its limits; distances are in
// the unit u, or the rules' own where it is "".
func Next(y *why.Why, u string) string {
	r := *y.Due
	r.Limits = slices.Clone(r.Limits)
	for i := range r.Limits {
		l := &r.Limits[i]
		l.Due = In(l.Due, u)
		if l.InAll != nil {
			all := *l.InAll
			all.Due = In(all.Due, u)
			l.InAll = &all
		}
	}
	return Named(y.Rule, y.Component) + ": " + r.Next()
}

// Verdicts are those of the sheet's component.
func Verdicts(ev *event.Event, w engine.Would) []sample.Verdict {
	d, ok := ev.Data.(*event.SampleData)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(w.Verdicts), func(v sample.Verdict) bool { return v.Component != d.Component })
}

// Of are the lines of what follows of an entry. Short ones say neither what was entered
// nor that nothing follows.
func (w Words) Of(ev *event.Event, e *engine.WouldEntry, of engine.Would, short bool) []string {
	switch ev.Kind {
	case event.ReadingEvent:
		return w.readingLines(ev, e, of, short)
	case event.SampleEvent:
		if d, ok := ev.Data.(*event.SampleData); ok && d.ByHand() {
			return w.measuredLines(ev, d, e, of, short)
		}
		var out []string
		for _, v := range Verdicts(ev, of) {
			if short {
				out = append(out, v.SummaryBy(english.Capital(w(v.Stage))))
			} else {
				out = append(out, v.Text())
			}
		}
		return append(out, w.Changes(e, func(t *alarm.Transition) bool { return !t.Task })...)
	}
	lines, nothing := w.workLines(ev, e, of), "recorded; nothing else changes"
	if ev.Kind == event.AnswerEvent || ev.Kind == event.MeterReplacedEvent {
		lines, nothing = w.Answered(ev, e, of), Nothing(ev, Said(of))
	}
	if len(lines) == 0 && !short {
		lines = []string{nothing}
	}
	return lines
}

// Answered is what follows of an answer: what became of alarms and, of work that is put
// off, when it is due then.
func (w Words) Answered(ev *event.Event, e *engine.WouldEntry, of engine.Would) []string {
	d, _ := ev.Data.(*event.AnswerData)
	lines := w.Changes(e, func(t *alarm.Transition) bool { return d != nil && t.Task && t.Rule == d.Task })
	for _, y := range of.Tasks {
		if d == nil || d.Task != y.Rule || d.Component != "" && d.Component != y.Component {
			continue
		}
		u := Said(of).Distance
		if u == "" && d.ByDistance != nil {
			u = d.ByDistance.Unit
		}
		lines = append(lines, Next(&y, u))
	}
	return lines
}

// Nothing is what is said of an answer after which no alarm and no due point is another.
func Nothing(ev *event.Event, said unit.System) string {
	d, _ := ev.Data.(*event.AnswerData)
	switch {
	case d != nil && d.Answer == "out of service":
		return ev.Vehicle + " is out of service; no messages about it until it is back in service"
	case d != nil && d.Answer == "in service":
		return ev.Vehicle + " is back in service; nothing came due meanwhile"
	case ev.Kind == event.MeterReplacedEvent:
		return What(ev, said) + "; distances continue across both"
	}
	return What(ev, said) + ": noted; no alarm changes"
}

// measuredLines say where the tasks stand that are due by what was measured, and what else
// changes.
func (w Words) measuredLines(ev *event.Event, d *event.SampleData, e *engine.WouldEntry, of engine.Would, short bool) (out []string) {
	if !short {
		out = append(out, What(ev, Said(of))+" recorded")
	}
	for _, y := range of.Tasks {
		for _, worn := range y.Due.Worn {
			if slices.ContainsFunc(d.Results, func(r event.ResultData) bool { return r.Analyte == worn.Measure }) {
				out = append(out, Named(y.Rule, y.Component)+": "+worn.Says)
			}
		}
	}
	return append(out, w.Changes(e, untold)...)
}

// readingLines say what a reading changes, and what is due then.
func (w Words) readingLines(ev *event.Event, e *engine.WouldEntry, of engine.Would, short bool) (out []string) {
	if !short {
		out = append(out, What(ev, Said(of))+" recorded")
	}
	out = append(out, w.Changes(e, untold)...)
	return append(out, w.onTheList(of.Due))
}

// onTheList names what is overdue, due and soon, in this order.
func (w Words) onTheList(list []due.Item) string {
	var parts []string
	for i := 0; i < len(list); {
		stage := list[i].Stage
		var names []string
		for ; i < len(list) && list[i].Stage == stage; i++ {
			names = append(names, Named(list[i].Task, list[i].Component))
		}
		parts = append(parts, w(stage)+": "+strings.Join(names, ", "))
	}
	if parts == nil {
		return "nothing is due"
	}
	return strings.Join(parts, "; ")
}
