package sheet

import (
	"strconv"

	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/whole"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// fields are those of a sheet but for its results, and what was typed into them.
type fields struct {
	Number, Corrects, Day, After, Age, Laboratory, Method, Point, AverageAge, Density *form.Field
	Meters                                                                            []*form.Field

	number, day        string
	revision           int
	age, averageAge    *unit.Quantity
	density            *unit.Quantity
	meters             map[string]unit.Quantity
	laboratory, method string
	point              string
}

// The largest values that a sheet has: metres, seconds, g/mL.
const (
	mostMetres  = 1e10
	mostSeconds = 1e7 * 3600
	mostDensity = 5
)

// taken is the tick of a sample that was drawn after the work of its day.
const taken = "yes"

// oldest is how many days ago a sheet that is typed in may have been drawn.
const oldest = 5 * 366

func (t *typing) allFields() fields {
	f, last := t.form, t.last
	if last == nil {
		last = &sample.Verdict{Laboratory: t.req.URL.Query().Get(inLaboratory)}
	}
	out := fields{
		Number:     f.Field("number", "The laboratory's number of the sheet").Need(),
		Corrects:   f.Field("corrects", "It is a corrected report of a sheet with this number"),
		Day:        f.Field("day", "Drawn on").Within(f.DayAfter(-oldest), f.Today()).Need(),
		After:      f.Field("after", "Drawn after the work of that day, not before it"),
		Age:        f.Field("age", "Age of the fluid").In(append(f.OwnFirst(unit.Distance), "h")...),
		Laboratory: f.Field(inLaboratory, "Laboratory").Before(last.Laboratory),
		Method:     f.Field("method", "Method").Before(last.Method),
		Point:      f.Field("point", "Where it was drawn").Before(last.Point),
		AverageAge: f.Field("averageage", "The averages are of fluid of").In(append(f.OwnFirst(unit.Distance), "h")...),
		Density:    f.Field("density", "Density of the fluid").In("g/mL"),
	}
	out.Age.Hint = "As the sheet says. Left empty, it is reckoned from the fluid changes."
	out.Method.Hint = "Such as ICP. A change of method is told apart from a change of the fluid."
	out.Point.Hint = "Such as the drain, the dipstick tube."
	out.Density.Hint = "Only if results are in mg/L."
	for i := range t.is.Meters {
		out.Meters = append(out.Meters, t.meter(i, &t.is.Meters[i]))
	}
	return out
}

func (t *typing) meter(i int, m *whole.Meter) *form.Field {
	d := t.form.Field("meter"+strconv.Itoa(i), english.Capital(m.Name)+" when it was drawn").In(t.form.OwnFirst(unit.Distance)...)
	if m.Hours {
		d.In("h")
	}
	if m.Read != nil {
		d.Hint = "Last " + english.Quantity(m.Read)
		if m.ReadOn != "" {
			d.Hint += " on " + t.form.Written(m.ReadOn)
		}
		d.Hint += "."
	}
	return d
}

// read reads what was typed, and notes what is wrong or doubtful.
func (t *typing) read() {
	f := &t.fields
	f.number, f.day = f.Number.Text(), f.Day.Day()
	f.laboratory, f.method, f.point = f.Laboratory.Text(), f.Method.Text(), f.Point.Text()
	f.age, f.averageAge = ageIn(f.Age), ageIn(f.AverageAge)
	f.density = f.Density.Quantity(unit.Density, mostDensity)
	f.meters = map[string]unit.Quantity{}
	for i, d := range f.Meters {
		kind, most := unit.Distance, float64(mostMetres)
		if t.is.Meters[i].Hours {
			kind, most = unit.Time, mostSeconds
		}
		if q := d.Quantity(kind, most); q != nil {
			f.meters[t.is.Meters[i].Name] = *q
		}
	}
	some := false
	for _, r := range t.rows {
		r.read(t.density())
		some = some || r.result != nil
	}
	if !some && len(t.form.Faults()) == 0 {
		t.form.Fault("type at least one result")
	}
	t.again()
}

// ageIn is the age of fluid in the field, by distance or by hours.
func ageIn(d *form.Field) *unit.Quantity {
	if d.Unit() == "h" {
		return d.Quantity(unit.Time, mostSeconds)
	}
	return d.Quantity(unit.Distance, mostMetres)
}

// density is in g/mL, 0 where nobody said.
func (t *typing) density() float64 {
	if t.fields.density == nil {
		return 0
	}
	return t.fields.density.Value
}

// again asks back where a sheet of that number is there already. Of two reports of one
// sender the one with the higher revision counts; those of two senders count as two.
func (t *typing) again() {
	f := &t.fields
	corrects := f.Corrects.Ticked(taken)
	var mine, others *sample.Line
	for i := range t.lines {
		switch l := &t.lines[i]; {
		case l.Number != f.number || f.number == "" || l.Sample.ID == entry.Named(t.form, 0):
		case l.Sample.Source == t.req.Viewer.Source():
			mine = l
		default:
			others = l
		}
	}
	switch {
	case mine != nil && corrects:
		f.revision = mine.Revision + 1
	case mine != nil:
		f.Number.Fault(wordAgain, f.number, t.form.Written(mine.Drawn))
	case others != nil:
		f.Number.Doubt(wordTwice, f.number, t.form.Written(others.Drawn), others.Sample.Source)
	case corrects:
		f.Corrects.Fault(wordCorrectsNone, f.number)
	}
}

// data is the sheet without when it was drawn.
func (t *typing) data() *event.SampleData {
	f := &t.fields
	d := &event.SampleData{Number: f.number, Revision: f.revision, Component: t.component.Name, Meters: f.meters, FluidAge: f.age, AverageAge: f.averageAge,
		Density: f.density, Laboratory: f.laboratory, Method: f.method, Point: f.point}
	for _, r := range t.rows {
		if r.result != nil {
			d.Results = append(d.Results, *r.result)
		}
	}
	return d
}
