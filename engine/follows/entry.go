package follows

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// What is the entry in a few words, as people read of the vehicle.
func What(ev *event.Event, said unit.System) string {
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
		return answered(d)
	case *event.VoidData:
		return "taken back: " + d.ID
	}
	return ev.Kind.String()
}

// answered is an answer with what it is about, until when it holds, and why.
func answered(d *event.AnswerData) string {
	s := d.Done()
	if about := d.Rule + d.Task; about != "" {
		s += ": " + Named(about, d.Component)
	}
	if d.Until != "" {
		day, _, _ := strings.Cut(d.Until, "T") // of a time, RFC 3339, the day says enough
		s += " until " + day
	}
	if d.ByDistance != nil {
		s += " by " + english.Quantity(d.ByDistance)
	}
	if d.Why != "" {
		s += ": " + english.OneLine(d.Why)
	}
	return s
}

// ShownBy is the meter of an entry that shows one, and its value.
func ShownBy(ev *event.Event) (meter string, value unit.Quantity) {
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

// Typed is a quantity as it is typed: 245003km.
func Typed(q unit.Quantity) string {
	return strconv.FormatFloat(math.Round(q.Value*10)/10, 'f', -1, 64) + q.Unit
}

// SpokenIn is the unit of distance that an entry is typed in; "" where it names none.
func SpokenIn(ev *event.Event) string {
	if _, q := ShownBy(ev); slices.Contains(unit.Distances(), q.Unit) {
		return q.Unit
	}
	return ""
}

// In is a quantity in the unit of distance that people typed.
func In(q *unit.Quantity, u string) *unit.Quantity {
	if q == nil || u == "" {
		return q
	}
	metres, err := q.As(unit.Distance)
	if err != nil {
		return q
	}
	return &unit.Quantity{Value: unit.From(metres, u), Unit: u}
}

// Said are the units in which people read of a vehicle, as far as anybody names them.
func Said(w engine.Would) unit.System {
	s, _ := unit.SystemOf(w.Reads) // of a view
	return s
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
