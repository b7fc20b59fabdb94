package whole

import (
	"cmp"
	"math"
	"slices"
	"time"

	"telltale/engine/doubt"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/moment"
	"telltale/engine/record"
	"telltale/rules/dataalarm"
	"telltale/rules/unit"
)

// Meter is one instrument of a vehicle: where it stands, how much it runs, and what is odd
// about what was read of it.
type Meter struct {
	// What due points are reckoned from.
	due.ReckonedMeter
	Hours bool `json:"hours,omitempty"` // it counts running time
	// Week is its use a week, between Least and Most in four of five cases; nil while too
	// little is known, or where it went back and nobody said why.
	Week      *unit.Quantity `json:"week,omitempty"`
	WeekLeast *unit.Quantity `json:"weekLeast,omitempty"`
	WeekMost  *unit.Quantity `json:"weekMost,omitempty"`
	// Doubts are the latest values that are in doubt, latest first; Disputed counts all.
	Doubts   []Doubt `json:"doubts,omitempty"`
	Disputed int     `json:"disputed,omitempty"`
	// Silent is the date since which it has not been read, where that is longer than usual.
	Silent   string     `json:"silent,omitempty"`
	Replaced []Replaced `json:"replaced,omitempty"` // latest first
}

// Doubt is a value that is in doubt, and why.
type Doubt struct {
	On    string   `json:"on"` // a local date
	Says  string   `json:"says"`
	Event event.ID `json:"event"`
}

// Replaced is an instrument that was replaced by another: what the old one showed last, and
// the new one first.
type Replaced struct {
	On    string        `json:"on"`
	Last  unit.Quantity `json:"last"`
	First unit.Quantity `json:"first"`
	Event event.ID      `json:"event"`
}

// shownDoubts is how many of a meter's doubts are told.
const shownDoubts = 5

// metersOf are the registered meters in the order of the register, those that nobody has
// read among them, and others that were read.
func metersOf(v *judge.View) (out []Meter) {
	reg, chains := v.Rec.Registered(), v.Rec.Chains()
	known := func(name string) bool {
		return slices.ContainsFunc(reg.Meters, func(m event.MeterDef) bool { return m.Name == name })
	}
	for _, m := range reg.Meters {
		if c := v.Rec.Chain(m.Name); c != nil {
			out = append(out, meterOf(v, c))
		} else {
			out = append(out, Meter{ReckonedMeter: due.ReckonedMeter{Name: m.Name}, Hours: m.Kind == "hours"})
		}
	}
	for i := range chains {
		if !known(chains[i].Name) {
			out = append(out, meterOf(v, &chains[i]))
		}
	}
	return out
}

func meterOf(v *judge.View, c *record.Chain) Meter {
	m := Meter{ReckonedMeter: *due.MeterOf(v, c), Hours: c.Hours}
	if m.PerDay != nil {
		const week = 7 * 86400
		u := c.ReckonUsage(math.MaxInt64)
		m.Week, m.WeekLeast, m.WeekMost = v.Quantity(u.PerSecond*week, c.Hours), v.Quantity(u.Low*week, c.Hours), v.Quantity(u.High*week, c.Hours)
	}
	doubts := doubt.OfMeter(v, c)
	slices.SortStableFunc(doubts, func(a, b doubt.Doubt) int { return cmp.Compare(b.At, a.At) })
	m.Disputed = len(doubts)
	for _, d := range doubts[:min(len(doubts), shownDoubts)] {
		m.Doubts = append(m.Doubts, Doubt{v.DayOf(d.At), d.Says, d.Of})
	}
	m.Silent = silent(v, c)
	for _, p := range replacements(v.Rec, c.Name) {
		m.Replaced = append(m.Replaced, Replaced{v.DayOf(p.At), *v.Quantity(p.Last, c.Hours), *v.Quantity(p.First, c.Hours), p.ID})
	}
	return m
}

// silent is since when the meter has not been read; "" where that is usual.
func silent(v *judge.View, c *record.Chain) string {
	if v.Now.IsZero() || v.Book == nil || v.Book.Data.Silent == (dataalarm.Silence{}) || v.Rec.Out || v.Rec.Registered().Retired {
		return ""
	}
	since, ok := moment.Patience(v.Book).Silent(c.Moments(), moment.Wait(v), v.Now.Unix())
	if !ok {
		return ""
	}
	return v.DayOf(time.Unix(since, 0).UnixNano())
}

// replacements are the instruments that were replaced, latest first.
func replacements(rec *record.Record, meter string) (out []record.Replaced) {
	for i := range rec.Meters {
		for _, p := range rec.Meters[i].Replaced {
			if rec.Meters[i].Name == meter && p.Word == record.Reported && !p.Void {
				out = append(out, p)
			}
		}
	}
	slices.Reverse(out)
	return out
}
