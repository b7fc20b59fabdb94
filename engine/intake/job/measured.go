package job

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Measurement is what was measured by hand as it is typed: each of Values as
// front lining=6.5mm, a < or > before the number where the gauge ends there.
type Measurement struct {
	Vehicle string
	Values  []string
	After   bool // the work of that day
	Meters  []Meter
}

// Measures are what may be measured by hand, by name, with the unit; "" for a bare number.
type Measures map[string]string

// Event is the measurement of a moment as it is typed, checked.
func (m Measurement) Event(on string, k Known) (event.Event, error) {
	var results []event.ResultData
	for _, text := range m.Values {
		r, err := k.Measures.value(text)
		if err != nil {
			return event.Event{}, err
		}
		if slices.ContainsFunc(results, func(o event.ResultData) bool { return o.Analyte == r.Analyte }) {
			return event.Event{}, &Error{Fault: NoMeasure, Option: "measure", text: fmt.Sprintf("measure %q is given twice", r.Analyte)}
		}
		results = append(results, r)
	}
	return m.Of(on, k, results)
}

// Of is the measurement of values that are read already; those of the measurement itself
// are left aside.
func (m Measurement) Of(on string, k Known, results []event.ResultData) (ev event.Event, err error) {
	at, err := k.when(on)
	if err != nil {
		return ev, err
	}
	d := &event.SampleData{Results: results}
	if _, err := time.Parse(time.DateOnly, on); err == nil {
		d.Drawn = on
	}
	if m.After {
		d.Taken, d.Drawn = "after", at.In(k.Registered.Location()).Format(time.DateOnly)
	}
	if d.Meters, err = (Job{Vehicle: m.Vehicle, Meters: m.Meters, reads: k.Reads}).meterValues(k.Registered.Meters); err != nil {
		return ev, err
	}
	return k.named(event.Event{Kind: event.SampleEvent, Vehicle: m.Vehicle, Time: at, Data: d})
}

// value reads front lining=6.5mm.
func (m Measures) value(text string) (r event.ResultData, err error) {
	name, value, ok := strings.Cut(text, "=")
	if !ok {
		return r, &Error{Fault: NoMeasure, Option: "measure", text: fmt.Sprintf("measure %q is not a value like front lining=6.5mm", text)}
	}
	if r.Analyte, err = m.Meant(name); err != nil {
		return r, err
	}
	own := m[r.Analyte]
	number, into := strings.TrimSpace(value), &r.Value
	if cut, ok := strings.CutPrefix(number, "<"); ok {
		number, into = cut, &r.Below
	} else if cut, ok := strings.CutPrefix(number, ">"); ok {
		number, into = cut, &r.Above
	}
	q, err := unit.Parse(inches(number))
	kind, _ := unit.Of(own)
	if _, other := q.As(kind); err != nil || other != nil {
		e := &Error{Fault: NoQuantity, Option: "measure", Name: r.Analyte, Kind: kind, text: fmt.Sprintf("measure %s %q is not %s with its unit", r.Analyte, value, kind)}
		if err == nil && q.Unit == "" {
			e.Typed = r.Analyte + "=" + strings.TrimSpace(value) + own
		}
		if point := strings.Replace(value, ",", ".", 1); err != nil && decimalComma.MatchString(value) {
			e.Pointed = r.Analyte + "=" + strings.Join(strings.Fields(point), "")
		}
		e.Have = unit.Names(kind)
		return r, e
	}
	*into, r.Unit = &q.Value, q.Unit
	if r.Unit == "" {
		r.Unit = "index"
	}
	if _, decimals, _ := strings.Cut(strings.TrimRight(number, "abcdefghijklmnopqrstuvwxyzACHLNV% "), "."); strings.HasSuffix(decimals, "0") {
		r.Decimals = len(decimals)
	}
	return r, nil
}

var (
	decimalComma = regexp.MustCompile(`^\s*[<>]?\d+,\d{1,2}\s*[a-zA-Z%]+\s*$`)
	fraction     = regexp.MustCompile(`^\s*(\d{1,3})/(\d{1,3})\s*in\s*$`)
)

// inches writes 4/32in, as gauges of tread are read in the USA, as a decimal.
func inches(number string) string {
	m := fraction.FindStringSubmatch(number)
	if m == nil {
		return number
	}
	a, _ := strconv.ParseFloat(m[1], 64)
	b, _ := strconv.ParseFloat(m[2], 64)
	if b == 0 {
		return number
	}
	return strconv.FormatFloat(a/b, 'f', -1, 64) + "in"
}

// Meant is the measure of that name, however it is written.
func (m Measures) Meant(name string) (string, error) {
	all := slices.Sorted(maps.Keys(m))
	for _, known := range all {
		if english.Folded(known) == english.Folded(name) {
			return known, nil
		}
	}
	if len(all) == 0 {
		return "", &Error{Fault: NoMeasure, Option: "measure", Name: name, text: "measure: the rules in force name nothing that is measured by hand"}
	}
	return "", &Error{Fault: NoSuchName, Option: "measure", Name: name, Near: source.Near(name, all), Have: all, text: fmt.Sprintf("measure: the rules name no %q", name)}
}
