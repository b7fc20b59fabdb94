package enter

import (
	"context"
	"html/template"
	"slices"
	"strconv"

	"telltale/engine/event"
	"telltale/engine/gauge"
	"telltale/engine/intake/job"
	"telltale/engine/stream/service"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// mostMeasured is the largest value that a gauge shows, in any unit.
const mostMeasured = 1e6

// measured is the field of a measure.
type measured struct {
	*form.Field
	of *gauge.Measured
}

// measure enters what was measured by hand, and what was seen to be wrong.
func (s site) measure(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	title, wanted := "Enter what was measured or seen", "type what was measured, or what was seen to be wrong"
	var all []gauge.Measured
	measures := r.MayHere(rights.Work, a.Vehicle)
	if measures {
		q := r.Question()
		q.Vehicle = a.ID
		if all, err = service.Measured.Of(ctx, s.Service, q); err != nil {
			return nil, err
		}
	} else { // a driver, who says what they see
		title, wanted = "Report a defect", "type what was seen to be wrong"
	}
	meters, day := a.meters(), a.day(oldestReading)
	values := a.measures(all)
	after := a.form.Field("after", "After that day's work, not before it")
	defect := a.form.Field("defect", "Seen to be wrong, and not repaired")
	defect.Hint = "Such as: wipers smear. It stays on the list until it is repaired."
	on, shows, results := a.form.At(day.Day()), shown(meters), resultsOf(values)
	wrongThing := defect.Text()
	if len(results) == 0 && wrongThing == "" && len(a.form.Faults()) == 0 {
		a.form.Fault("%s", wanted)
	}
	return s.Serve(ctx, r, &entry.Entry{
		Form: a.form, Vehicle: a.Vehicle, Page: a.page(title),
		Events: func() (out []event.Event, err error) {
			if len(results) > 0 {
				var ev event.Event
				if ev, err = (job.Measurement{Vehicle: a.ID, After: after.Ticked("yes"), Meters: shows}).Of(on, a.known(), results); err == nil {
					out = append(out, ev)
				}
			}
			if wrongThing != "" && err == nil {
				var list []event.Event
				known, failed := s.knownWith(ctx, a)
				if failed != nil {
					return nil, failed
				}
				list, err = job.Job{Vehicle: a.ID, Said: map[string]string{"defect": wrongThing, "by": byOf(r.Viewer)}, Meters: shows}.Events(on, known)
				out = append(out, list...)
			}
			return out, err
		},
		Fields: func() (template.HTML, error) {
			var fields []*form.Field
			for _, m := range values {
				fields = append(fields, m.Field)
			}
			return templates.Body("measure", map[string]any{"Measures": fields, "Meters": fieldsOf(meters), "Day": day, "After": after, "Defect": defect, "Measured": measures})
		},
	})
}

// measures are the fields of what the rules have measured by hand.
func (a *asked) measures(all []gauge.Measured) (out []measured) {
	for i := range all {
		m := &all[i]
		d := a.form.Field("measure"+strconv.Itoa(i), english.Capital(m.Measure))
		if m.Unit != "" {
			d.In(a.unitsOf(m.Unit)...)
		}
		if n := len(m.Points); n > 0 {
			p := m.Points[n-1]
			d.Hint = "Last " + english.Number(p.Value) + " " + english.Unit(m.Unit) + " on " + a.form.Written(p.On) + "."
		}
		out = append(out, measured{d, m})
	}
	return out
}

// unitsOf are the units in which a measure may be given, that of the rules first.
func (a *asked) unitsOf(own string) []string {
	kind, _ := unit.Of(own)
	all := []string{own}
	for _, u := range unit.Names(kind) {
		if !slices.Contains(all, u) && len(all) < 6 {
			all = append(all, u)
		}
	}
	return all
}

// resultsOf are the values that were typed.
func resultsOf(all []measured) (out []event.ResultData) {
	for _, m := range all {
		r := m.Result(0, mostMeasured)
		if r == nil {
			continue
		}
		d := event.ResultData{Analyte: m.of.Measure, Unit: m.Unit(), Decimals: r.Decimals}
		if d.Unit == "" {
			d.Unit = "index"
		}
		switch {
		case r.Below:
			d.Below = &r.Value
		case r.Above:
			d.Above = &r.Value
		default:
			d.Value = &r.Value
		}
		out = append(out, d)
	}
	return out
}
