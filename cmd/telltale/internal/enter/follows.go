package enter

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// named is a rule or task with its component.
func named(name, component string) string {
	if component != "" {
		return name + " (" + component + ")"
	}
	return name
}

// followsLine says what became of an alarm.
func followsLine(t *alarm.Transition) string {
	what := named(t.Rule, t.Component)
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
		return what + ": now " + string(t.To) + said
	case t.Transition == alarm.Eased:
		return what + ": eased to " + string(t.To) + said
	case t.Transition == alarm.NowAcknowledged:
		return what + ": acknowledged, no more reminders"
	case t.Transition == alarm.NowShelved:
		return what + ": put aside, unless it becomes worse"
	case t.Transition == alarm.Unshelved:
		return what + ": back on the list"
	}
	return what + ": " + string(t.Transition)
}

// notes are what of an entry is not used or not believed, with what to do.
func notes(ev *event.Event, e *engine.WouldEntry, of engine.Would, dry bool) (out []string) {
	for i := range e.NotUsed {
		out = append(out, "note: "+e.NotUsed[i].Refused)
	}
	for _, d := range e.Doubts {
		out = append(out, "doubtful: "+d)
	}
	if len(e.Doubts) > 0 {
		out = append(out, "  "+whatToDo(ev, of, dry))
	}
	return out
}

// whatToDo is what to do about a meter value that is doubted.
func whatToDo(ev *event.Event, of engine.Would, dry bool) string {
	mend := "take it back: " + undoCall(ev)
	if dry {
		mend = "correct it"
	}
	do := "If it is a typing error, " + mend
	meter, value := shownBy(ev)
	if meter == "" {
		return do
	}
	said, old := saidOf(of), "…"
	value = value.In(said)
	for i := range of.Tasks {
		for _, l := range of.Tasks[i].Due.Limits {
			if l.Meter != nil && l.Meter.Name == meter && l.Meter.Read != nil {
				old = typedQuantity(*inUnit(l.Meter.Read, cmp.Or(said.Distance, spokenIn(ev))))
			}
		}
	}
	if old == typedQuantity(value) {
		return do
	}
	return do + ". If the instrument was replaced: telltale meter replaced " + english.Typed(ev.Vehicle) + " --meter " + english.Typed(meter) + " --old " + old + " --new " + typedQuantity(value)
}

// shownBy is the meter of an entry that shows one, and its value.
func shownBy(ev *event.Event) (meter string, value unit.Quantity) {
	values := map[string]unit.Quantity{}
	switch d := ev.Data.(type) {
	case *event.ReadingData:
		return d.Meter, unit.Quantity{Value: d.Value, Unit: d.Unit}
	case *event.ServiceData:
		values = d.Meters
	case *event.SampleData:
		values = d.Meters
	}
	if len(values) != 1 {
		return "", value
	}
	for meter, value = range values {
	}
	return meter, value
}

// typedQuantity is a quantity as it is typed: 245003km.
func typedQuantity(q unit.Quantity) string {
	return strconv.FormatFloat(math.Round(q.Value*10)/10, 'f', -1, 64) + q.Unit
}

// undoCall is the command that takes an entry out.
func undoCall(ev *event.Event) string {
	return "telltale undo " + english.Typed(ev.Vehicle) + " " + english.Typed(ev.ID.ID)
}

// changes are what became of alarms, without those that a doubt has told of.
func changes(e *engine.WouldEntry, told func(*alarm.Transition) bool) (out []string) {
	for i := range e.Follows {
		t := &e.Follows[i]
		doubted := len(e.Doubts) > 0 && t.Transition == alarm.Raised && strings.HasPrefix(t.Rule, "data:")
		if !doubted && !told(t) {
			out = append(out, followsLine(t))
		}
	}
	return out
}

func untold(*alarm.Transition) bool { return false }

// workLines are what follows of work: when each of its tasks is due next, what it opened,
// and what else it changed.
func workLines(ev *event.Event, e *engine.WouldEntry, of engine.Would) (out []string) {
	list := concerned(ev, of.Tasks)
	told := func(t *alarm.Transition) bool {
		return t.Task && slices.ContainsFunc(list, func(y why.Why) bool { return y.Rule == t.Rule && y.Component == t.Component })
	}
	for i := range list {
		out = append(out, nextLine(&list[i], cmp.Or(saidOf(of).Distance, spokenIn(ev))))
	}
	return append(out, changes(e, told)...)
}

// concerned are the tasks that the work lists, and those that it opened.
func concerned(ev *event.Event, tasks []why.Why) []why.Why {
	d, ok := ev.Data.(*event.ServiceData)
	if !ok {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(tasks), func(y why.Why) bool {
		follows := y.Due.By != nil && *y.Due.By == ev.ID || slices.Contains(d.Tasks, y.Rule)
		return !follows || d.Component != "" && y.Component != "" && y.Component != d.Component
	})
}

// spokenIn is the unit of distance that an entry is typed in; "" where it names none.
func spokenIn(ev *event.Event) string {
	if _, q := shownBy(ev); slices.Contains(unit.Distances(), q.Unit) {
		return q.Unit
	}
	return ""
}

// inUnit is a quantity in the unit of distance that people typed.
func inUnit(q *unit.Quantity, u string) *unit.Quantity {
	if q == nil || u == "" {
		return q
	}
	metres, err := q.As(unit.Distance)
	if err != nil {
		return q
	}
	return &unit.Quantity{Value: unit.From(metres, u), Unit: u}
}

// saidOf are the units in which people read of a vehicle, as far as anybody names them.
func saidOf(w engine.Would) unit.System {
	s, _ := unit.SystemOf(w.Reads) // of a view
	return s
}

// nextLine is when a task is due next, or was, by each of its limits; distances are in
// the unit u, or the rules' own where it is "".
func nextLine(y *why.Why, u string) string {
	r := *y.Due
	r.Limits = slices.Clone(r.Limits)
	for i := range r.Limits {
		l := &r.Limits[i]
		l.Due = inUnit(l.Due, u)
		if l.InAll != nil {
			all := *l.InAll
			all.Due = inUnit(all.Due, u)
			l.InAll = &all
		}
	}
	return named(y.Rule, y.Component) + ": " + r.Next()
}

// what is the entry in a few words, as people read of the vehicle.
func what(ev *event.Event, said unit.System) string {
	switch d := event.ReadIn(said, ev.Data).(type) {
	case *event.ServiceData:
		parts := []string{d.What()}
		if d.What() == "" {
			parts = nil
		}
		parts = append(parts, meterWords(d)...)
		if d.Note != "" {
			parts = append(parts, d.Note)
		}
		return strings.Join(parts, ", ")
	case *event.ReadingData:
		return d.Meter + " " + english.Quantity(quantityOf(d.Value, d.Unit))
	case *event.SampleData:
		if d.ByHand() {
			return strings.Join(append([]string{strings.TrimPrefix(d.What(), "measured: ")}, wordsOf(d.Meters)...), ", ")
		}
		return "sample " + d.Number + " of " + d.Component
	case *event.MeterReplacedData:
		return fmt.Sprintf("%s replaced: the old one showed %s, the new one %s", d.Meter, english.Quantity(&d.Last), english.Quantity(&d.First))
	case *event.AnswerData:
		about := d.Rule + d.Task
		if about == "" {
			return d.Answer
		}
		return d.Answer + ": " + named(about, d.Component)
	case *event.VoidData:
		return "taken back: " + d.ID
	}
	return ev.Kind.String()
}
