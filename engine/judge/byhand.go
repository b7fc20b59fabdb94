package judge

import (
	"slices"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/engine/wear"
	"telltale/rules"
	"telltale/rules/word"
)

// What is measured by hand: how rules are answered of it, where they are judged, and where
// tasks are due by it.

// Track is all that is known of a measure of the vehicle.
func (v *View) Track(m *rules.Measure) wear.Track {
	i := slices.Index(v.Book.Measures, m)
	if v.tracks == nil {
		v.tracks = make([]*wear.Track, len(v.Book.Measures))
	}
	if v.tracks[i] == nil {
		t := wear.Of(v.Rec, v.Applied().Reg, m, func(s *record.Service) bool { return v.renews(s, m) })
		v.tracks[i] = &t
	}
	return *v.tracks[i]
}

// renews reports whether the work renewed the part that is measured.
func (v *View) renews(s *record.Service, m *rules.Measure) bool {
	return slices.ContainsFunc(m.RenewedBy, func(name string) bool {
		t := v.Book.Task(name)
		return t != nil && v.work().Settles(s, t, -1)
	})
}

// measured is the track of what is asked of, up to where the facts end; ok is false of an
// analyte.
func (x *Facts) measured(arg string) (t wear.Track, ok bool) {
	if len(x.v.Book.Measures) == 0 {
		return t, false
	}
	m := x.v.Book.Measure(arg)
	if m == nil {
		return t, false
	}
	return x.v.Track(m).At(x.before), true
}

func (x *Facts) numberByHand(t wear.Track, w word.Word) (float64, string, bool) {
	x.restsOnPoints(t.Rests(w))
	ends := func(i int, r lab.Result) float64 { return x.choose(endKey{-1, i, r.Analyte}, r.Span(), r.Value) }
	return t.Number(w, ends, x.v.Applied().Rules.Measures)
}

func (x *Facts) truthByHand(t wear.Track, w word.Word) (bool, string, bool) {
	x.restsOnPoints(t.Rests(w))
	return t.Truth(w)
}

func (x *Facts) restsOnPoints(points []wear.Point) {
	for _, p := range points {
		x.use(p.Sample.ID)
	}
}

// noteByHand says when it was measured.
func (x *Facts) noteByHand(t wear.Track) string {
	if len(t.Points) == 0 {
		return ""
	}
	return "measured on " + t.Points[len(t.Points)-1].Sample.DrawnOn(x.v.Applied().Zone)
}

// MeasuredFor reports whether the event is of something measured by hand that has the rule
// judged.
func MeasuredFor(r *rules.Rule, ev *event.Event) bool {
	d, ok := ev.Data.(*event.SampleData)
	return ok && measuredFor(r, d)
}

func measuredFor(r *rules.Rule, d *event.SampleData) bool {
	return r.On&rules.OnSample != 0 && slices.ContainsFunc(d.Results, func(res event.ResultData) bool { return slices.Contains(r.Measures, res.Analyte) })
}

// measurements are the places at which what was measured by hand has the rule judged.
func (v *View) measurements(r *rules.Rule) (out []Judgement) {
	if len(r.Measures) == 0 {
		return nil
	}
	zone := v.Applied().Zone
	for _, s := range v.Rec.Measurements(zone) {
		if measuredFor(r, s.SampleData) {
			at := s.Place(zone)
			out = append(out, Judgement{Before: at, At: max(at.At, s.At), ID: s.ID, Sampled: true})
		}
	}
	return out
}

// wearOut moves the due point of a task to where the first of its measures is worn out, if
// that comes before it. A task that goes by nothing else waits for measurements.
func (v *View) wearOut(d *Due, before record.Place) {
	moved, zone := false, v.Applied().Zone
	for _, until := range d.Task.Until {
		w := v.Track(v.Book.Measure(until.Measure)).At(before).WornAt(until, zone)
		d.Worn = append(d.Worn, w)
		by, ok := w.Move(wear.Schedule{Plan: &d.Plan, Point: &d.Point, From: &d.From}, zone)
		d.wear[by], moved = w, moved || ok
	}
	if only := d.Task.Every == (rules.Limits{}); len(d.Worn) > 0 && (only || moved) {
		d.Waiting, d.NoHistory = !moved, false
	}
}

// WornBy is the measure by which a limit is set; nil where none was.
func (d *Due) WornBy(l interval.Limit) *wear.Worn {
	if l == interval.ByNone {
		return nil
	}
	return d.wear[l]
}
