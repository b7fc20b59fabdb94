// Package wear follows what a workshop measures by hand: the values of one part from when
// it was put in, how fast it wears, and where it will be worn out if it goes on so.
//
// A [Track] is read off a vehicle's record and cut at a place in its history; a rule's
// words are answered from it, and [Track.Until] forecasts. It is pure.
package wear

import (
	"fmt"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Track is the values of one measure of a vehicle, in order, and when its part was renewed.
type Track struct {
	Measure *rules.Measure
	// Lab is the values as steps of one result each, in the measure's unit; Points are where
	// they stand in the record.
	Lab     lab.History
	Points  []Point
	renewed []record.Place
}

// Point is one measurement.
type Point struct {
	record.Place
	Sample *record.Sample
}

// Of is all that is known of the measure; renews reports whether work renews the part.
func Of(r *record.Record, reg *event.VehicleData, m *rules.Measure, renews func(*record.Service) bool) Track {
	t := Track{Measure: m}
	zone := reg.Location()
	for _, s := range r.Measurements(zone) {
		for i := range s.Results {
			res, err := Read(m, &s.Results[i])
			if s.Results[i].Analyte != m.Name || err != nil {
				continue
			}
			step := r.MeasuredAt(reg, s)
			step.Results = []lab.Result{res}
			t.Lab, t.Points = append(t.Lab, step), append(t.Points, Point{s.Place(zone), s})
			break // a value that is written twice counts as the first says
		}
	}
	for i := range r.Services {
		if s := &r.Services[i]; !s.Void && renews(s) {
			t.renewed = append(t.renewed, s.Stamp.Place(event.ServiceEvent))
		}
	}
	return t
}

// At is the track of the part that was in at a place, up to there.
func (t Track) At(before record.Place) Track {
	from, to := 0, 0
	var in []record.Place
	for _, r := range t.renewed {
		if r.Compare(before) <= 0 {
			in = append(in, r)
		}
	}
	for i, p := range t.Points {
		if p.Compare(before) <= 0 {
			to = i + 1
		}
		if len(in) > 0 && p.Compare(in[len(in)-1]) <= 0 {
			from = i + 1
		}
	}
	from = min(from, to)
	return Track{t.Measure, t.Lab[from:to], t.Points[from:to], in}
}

// Renewed is when the part was last renewed, Unix nanoseconds; ok is false where nobody
// wrote that down.
func (t Track) Renewed() (at int64, ok bool) {
	if len(t.renewed) == 0 {
		return 0, false
	}
	return t.renewed[len(t.renewed)-1].At, true
}

// Value is a measured value in the measure's unit.
func (t Track) Value(i int) float64 { return t.Lab[i].Results[0].Value }

// Read is a result in the measure's unit, or why it cannot be used.
func Read(m *rules.Measure, d *event.ResultData) (r lab.Result, err error) {
	r.Analyte = m.Name
	v := d.Value
	switch {
	case d.Below != nil:
		v, r.Censored = d.Below, true
	case d.Above != nil:
		v, r.Above = d.Above, true
	case v == nil:
		return r, fmt.Errorf("it has no value")
	}
	q := unit.Quantity{Value: *v, Unit: d.Unit}
	if q.Unit == m.Unit {
		r.Value = q.Value
		return r, nil
	}
	base, err := q.As(m.Kind)
	if err != nil {
		return r, err
	}
	r.Value = unit.From(base, m.Unit)
	return r, nil
}

// Notes say what of a measurement is not used, since the book does not name it or it is in
// no unit of its kind.
func Notes(b *rules.Book, d *event.SampleData) (out []string) {
	names := make([]string, 0, len(b.Measures))
	for _, m := range b.Measures {
		names = append(names, m.Name)
	}
	for i := range d.Results {
		r := &d.Results[i]
		m := b.Measure(r.Analyte)
		if m == nil {
			out = append(out, fmt.Sprintf("%q is kept, but no rule file names such a measure%s", r.Analyte, near(r.Analyte, names)))
			continue
		}
		if _, err := Read(m, r); err != nil {
			out = append(out, fmt.Sprintf("%s is kept, but not used: %v", r.Analyte, err))
		}
	}
	return out
}

func near(name string, all []string) string {
	if n := source.Near(name, all); n != "" {
		return fmt.Sprintf(" (did you mean %q?)", n)
	}
	if len(all) == 0 {
		return ""
	}
	slices.Sort(all)
	return " (they are " + strings.Join(all, ", ") + ")"
}
