package history

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/rules/english"
)

func registerWords(d *event.VehicleData) string {
	s := d.Label()
	if d.VIN != "" {
		s += ", VIN " + d.VIN
	}
	if d.Kind != "" {
		s += ", " + d.Kind
	}
	if d.InService != "" {
		s += ", in service since " + d.InService
	}
	if d.Retired {
		s += ", retired"
	}
	return s
}

func workWords(d *event.ServiceData) string {
	what := d.What()
	switch {
	case what == "" && len(d.Meters) > 0:
		what = "meters read"
	case what == "":
		what = "noted"
	}
	s := english.Capital(what) + ofComponent(d.Component)
	if d.By != "" {
		s += ", by " + d.By
	}
	if d.Note != "" {
		s += ": " + english.OneLine(d.Note)
	}
	return s
}

func ofComponent(name string) string {
	if name == "" {
		return ""
	}
	return " (" + name + ")"
}

func replacedWords(d *event.MeterReplacedData) string {
	return english.Capital(d.Meter) + " replaced: the old one showed " + d.Last.String() + ", the new one began at " + d.First.String()
}

func answerWords(d *event.AnswerData) string {
	s := english.Capital(d.Done())
	switch {
	case d.Rule != "":
		s += ": " + d.Rule
	case d.Task != "":
		s += ": " + d.Task
	}
	s += ofComponent(d.Component)
	if d.Until != "" {
		day, _, _ := strings.Cut(d.Until, "T") // of a time, RFC 3339, the day says enough
		s += " until " + day
	}
	if d.ByDistance != nil {
		s += " by " + d.ByDistance.String()
	}
	if d.By != "" {
		s += ", by " + d.By
	}
	if d.Why != "" {
		s += ": " + english.OneLine(d.Why)
	}
	return s
}

func alarmWords(t *alarm.Transition) string {
	s := english.Capital(t.Rule) + ofComponent(t.Component) + " " + string(t.Transition)
	switch {
	case t.From != t.To && t.From != alarm.Normal && t.To != alarm.Normal:
		s += fmt.Sprintf(" from %s to %s", t.From, t.To)
	case t.From != t.To && t.To != alarm.Normal:
		s += ": " + string(t.To)
	}
	if t.Shelved {
		s += " (put aside; no message was sent)"
	}
	if t.Message != "" {
		s += ": " + t.Message
	}
	return s
}

// MetersLine is what the meters showed then.
func (e *Entry) MetersLine() string {
	var out []string
	for _, name := range slices.Sorted(maps.Keys(e.Meters)) {
		q := e.Meters[name]
		out = append(out, name+" "+english.Quantity(&q))
	}
	return strings.Join(out, ", ")
}

// ResultsLine is the laboratory's sheet as it was reported; "" without one.
func (e *Entry) ResultsLine() string {
	if e.Sample == nil {
		return ""
	}
	var out []string
	for i := range e.Sample.Results {
		out = append(out, e.Sample.Results[i].Analyte+" "+e.Sample.Results[i].String())
	}
	if age := e.Sample.FluidAge; age != nil {
		out = append([]string{"fluid run " + english.Quantity(age)}, out...)
	}
	return strings.Join(out, ", ")
}
