package record

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/engine/meter"
	"telltale/rules/unit"
)

// NotesOn says of a component's step i, a sample, what in it cannot be used or
// does not fit the record.
func NotesOn(v *event.VehicleData, t Timeline, i int) []string {
	s := t.Steps[i].Sample
	notes := slices.Clone(t.Steps[i].Sheet().notes)
	if s.Density != nil && density(s.SampleData) == 0 {
		notes = append(notes, fmt.Sprintf("the density of %s cannot be", s.Density))
	}
	if in, err := interval.ParseDate(v.InService); err == nil && interval.DateOf(time.Unix(0, t.Steps[i].At), v.Location()) < in {
		notes = append(notes, "it was drawn before the vehicle went into service on "+v.InService)
	}
	if why := doubtedAge(t, i); why != "" {
		notes = append(notes, why)
	}
	return notes
}

// doubtedAge says why the fluid's age on the label of the sample at step i cannot
// be: it is none, or more than the life of what the fluid is in, or than the run since all
// of it was renewed. What is read off by eye may be out by 1 %, a run by 10 %.
func doubtedAge(t Timeline, i int) string {
	q := t.Steps[i].Sample.FluidAge
	if q == nil {
		return ""
	}
	age, kind, err := q.Base()
	switch {
	case err != nil || kind != unit.Distance && kind != unit.Time || age < 0:
		return fmt.Sprintf("the fluid's age of %s is not used: it is no distance and no running time", q)
	case kind == unit.Distance && age > meter.MostDistance || kind == unit.Time && age > meter.MostRunning:
		return fmt.Sprintf("the fluid's age of %s is not used: no fluid runs as long", q)
	}
	run := func(s lab.Step) float64 {
		if kind == unit.Time {
			return s.Hours
		}
		return s.Distance
	}
	life := run(t.Lab[i])
	if age > life*1.01 {
		return fmt.Sprintf("the fluid's age of %s is not used: the vehicle has run %s", q, roundedIn(life, q.Unit))
	}
	e := t.LastExchange(i)
	if e < 0 || t.Lab[e].Share != 1 {
		return ""
	}
	if since := life - run(t.Lab[e]); age > float64(since*1.1)+float64(0.01*life) {
		return fmt.Sprintf("the fluid's age of %s is not used: all of it was renewed %s before; was the sample drawn before the fluid went in?",
			q, roundedIn(since, q.Unit))
	}
	return ""
}

func roundedIn(base float64, unitName string) string {
	return strconv.FormatFloat(math.Round(unit.From(base, unitName)), 'f', -1, 64) + " " + unitName
}
