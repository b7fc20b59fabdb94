package engine

import (
	"math"
	"time"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/grouped"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/meter"
)

// Baselines is the set in force, made from the fleet, and its hash; "" before the
// first. The set is nil where the hash alone is known.
func (p *Partition) Baselines() (hash string, set *fleet.Set) { return p.fleet.Hash, p.fleet.Set }

// RestoreBaselines sets the baselines in force as a checkpoint has them. set is nil
// where its text is gone.
func (p *Partition) RestoreBaselines(hash string, set *fleet.Set) {
	p.fleet, p.law.Dates, p.turned = fleet.InForce{Hash: hash, Set: set}, nil, nil
	if set != nil {
		p.law.Dates = set.Dates
	}
}

// survey is this partition's part of a survey. Vehicles that are retired, or that
// nobody registered, have no part in it.
func (p *Partition) survey(ev event.Event, d *fleet.SurveyData) *fleet.SurveyPart {
	// Not the partition's own moment: all of them answer for the same one.
	part := &fleet.SurveyPart{Turn: d.Turn, Now: ev.Time.UTC()}
	if p.law.Book == nil {
		return part
	}
	part.Book = p.law.Book.Hash
	if p.asks == "" {
		return part
	}
	if p.law.Book.FleetDefinitions() != "" {
		for _, v := range p.Vehicles() {
			if f := p.viewIn(v, part.Now); f != nil {
				part.Samples = append(part.Samples, surveyed(f)...)
			}
		}
	}
	if p.law.Book.ByMeter() {
		p.forecasts(part)
	}
	return part
}

// viewIn is the vehicle for a survey at a moment; nil where it has no part in it.
func (p *Partition) viewIn(vehicle string, now time.Time) *judge.View {
	r := p.record(vehicle)
	if r == nil || r.Registered() == nil || r.Registered().Retired {
		return nil
	}
	f := p.view(r)
	f.When = now
	return f
}

// forecasts tells what became of the forecasts that were made of the partition's vehicles,
// and makes others, of no more vehicles than the fleet's panel has.
func (p *Partition) forecasts(part *fleet.SurveyPart) {
	readings := func(vehicle string, hours bool) []meter.Reading {
		if f := p.viewIn(vehicle, part.Now); f != nil {
			c := f.Chain(-1, hours)
			if c == nil {
				return nil
			}
			if _, untold := c.UntoldSince(); !untold {
				return c.KeptUntil(part.Now.UnixNano())
			}
		}
		return nil
	}
	for _, o := range p.law.Dates.AllOpen() {
		if o.Over() > part.Now.Unix() {
			continue
		}
		if done, ok := o.Finish(readings(o.Vehicle, o.Hours)); ok {
			part.Finished = append(part.Finished, done)
		}
	}
	told := 0
	for _, name := range fleet.PanelFirst(p.Vehicles()) {
		made := append(fleet.OpenOf(name, false, readings(name, false), part.Now), fleet.OpenOf(name, true, readings(name, true), part.Now)...)
		part.Made = append(part.Made, made...)
		if len(made) > 0 {
			told++
		}
		if told == fleet.Panel {
			break
		}
	}
}

func surveyed(v *judge.View) []fleet.SurveySample {
	var out []fleet.SurveySample
	a := v.Applied()
	for i := range a.Comps {
		b := a.Rules.Baselines[i]
		if b == nil || b.Fleet == nil {
			continue
		}
		t := v.Timeline(i)
		since := int64(math.MinInt64)
		if l := b.Fleet.Last; l.Months+l.Days > 0 {
			since = daysBefore(interval.DateOf(v.When, a.Zone), l.Months, l.Days).Start(a.Zone).UnixNano()
		}
		for k := range t.Steps {
			if s := t.Steps[k].Sample; s != nil && t.Steps[k].At >= since && t.Steps[k].At <= v.When.UnixNano() {
				one := fleet.SampleOf(t.Lab[:k+1])
				one.Vehicle, one.Component, one.Number = v.Rec.Shown(), s.Component, s.Number
				one.Drawn, one.Baseline, one.Group = s.DrawnOn(a.Zone), b.Name, b.Fleet.Group(&a.Vehicle, &a.Comps[i])
				out = append(out, one)
			}
		}
	}
	return out
}

// Limits are the rules with limits on one analyte that are kept on components with a
// baseline made from the fleet, for [fleet.Audit].
func (p *Partition) Limits() []fleet.Audited {
	var out []fleet.Audited
	for _, name := range p.Vehicles() {
		out = append(out, p.LimitsOf(name)...)
	}
	return fleet.Merge(out)
}

// LimitsOf are those of one vehicle.
func (p *Partition) LimitsOf(vehicle string) []fleet.Audited {
	if v := p.AskedBy(p.By).judged(vehicle); v != nil {
		return grouped.Limits(v)
	}
	return nil
}

// GroupsOf are the groups of the fleet's samples that a vehicle's components fall into.
func (p *Partition) GroupsOf(vehicle string) []fleet.Listing {
	if v := p.AskedBy(p.By).judged(vehicle); v != nil {
		return grouped.Groups(v)
	}
	return nil
}

// daysBefore is the date so many months and days before another.
func daysBefore(d interval.Date, months, days int) interval.Date {
	return d.AddMonths(-months).AddDays(-days)
}

// alone is how far a partition that holds a whole fleet has made its baselines.
type alone struct {
	last   time.Time // of the survey
	asked  string    // by which definitions
	number int
}

// SurveyMonthly has a partition that holds a whole fleet, as of a file, make the
// fleet's baselines by itself, as the service does: at the first tick of each month
// UTC, and at the first after the book asks for others. A file that holds baseline
// events is folded with those alone, without this.
func (p *Partition) SurveyMonthly() { p.alone = &alone{} }

func (p *Partition) surveyAlone() {
	a := p.alone
	if a == nil || p.asks == "" || a.asked == p.asks && p.law.Now.Before(nextMonth(a.last)) {
		return
	}
	a.last, a.asked = p.law.Now, p.asks
	a.number++
	set := p.SurveyNow(p.law.Now, a.number)
	p.RestoreBaselines(set.Hash(), set)
}

// SurveyNow makes the baselines of a partition that holds a whole fleet, as of a
// moment, by the book in force, which must be there.
func (p *Partition) SurveyNow(now time.Time, number int) *fleet.Set {
	at := event.Event{Kind: event.SurveyEvent, Time: now, Recorded: now}
	part := p.survey(at, &fleet.SurveyData{Turn: now.UTC().Format(time.RFC3339)})
	return fleet.MakeAfter(p.fleet.Set, p.law.Book, number, []fleet.SurveyPart{*part})
}

func nextMonth(t time.Time) time.Time {
	t = t.UTC()
	return time.Date(t.Year(), t.Month()+1, 1, 0, 0, 0, 0, time.UTC)
}
