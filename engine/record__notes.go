package engine

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/engine/meter"
	"telltale/rules/unit"
	"time"
)

// sampleNotes says of a component's step i, a sample, what in it cannot be used or
// does not fit the record.
func sampleNotes(v *VehicleData, t timeline, i int) []string {
	s := t.steps[i].sample
	notes := slices.Clone(t.steps[i].sheet().notes)
	if s.Density != nil && density(s.SampleData) == 0 {
		notes = append(notes, fmt.Sprintf("the density of %s cannot be", s.Density))
	}
	if in, err := interval.ParseDate(v.InService); err == nil && interval.DateOf(time.Unix(0, t.steps[i].at), v.zone()) < in {
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
func doubtedAge(t timeline, i int) string {
	q := t.steps[i].sample.FluidAge
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
	life := run(t.lab[i])
	if age > life*1.01 {
		return fmt.Sprintf("the fluid's age of %s is not used: the vehicle has run %s", q, roundedIn(life, q.Unit))
	}
	e := t.lastExchange(i)
	if e < 0 || t.lab[e].Share != 1 {
		return ""
	}
	if since := life - run(t.lab[e]); age > float64(since*1.1)+float64(0.01*life) {
		return fmt.Sprintf("the fluid's age of %s is not used: all of it was renewed %s before; was the sample drawn before the fluid went in?",
			q, roundedIn(since, q.Unit))
	}
	return ""
}

func roundedIn(base float64, unitName string) string {
	return strconv.FormatFloat(math.Round(unit.From(base, unitName)), 'f', -1, 64) + " " + unitName
}
