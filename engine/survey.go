package engine

import (
	"math"
	"time"

	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/rules/unit"
)

// SurveyData asks every partition for its samples, of which the baselines of the
// fleet are made. Turn is its key, the moment of the clock that asks, RFC 3339 UTC.
type SurveyData struct {
	Turn string `json:"turn"`
	// Definitions is the hash of what the book in force then asks of the fleet.
	Definitions string `json:"definitions"`
}

// SurveyPart is one partition's answer: its samples of the components that have a
// baseline made from the fleet, as the records stood at the survey's place in the log.
type SurveyPart struct {
	Turn    string         `json:"turn"`
	Now     time.Time      `json:"now"`
	Book    string         `json:"book,omitempty"`
	Samples []SurveySample `json:"samples,omitempty"`
}

// SurveySample is one sample as it counts for a group. Ages are mixed over partial
// exchanges, in metres and seconds; negative where unknown.
type SurveySample struct {
	Vehicle   string         `json:"vehicle"`
	Component string         `json:"component"`
	Number    string         `json:"number"`
	Drawn     string         `json:"drawn"` // local date
	Baseline  string         `json:"baseline"`
	Group     []string       `json:"group,omitempty"`
	Distance  float64        `json:"distance"`
	Hours     float64        `json:"hours"`
	Results   []SurveyResult `json:"results"`
}

// SurveyResult is a result in its analyte's base unit.
type SurveyResult struct {
	Analyte string  `json:"a"`
	Value   float64 `json:"v"`
	Below   bool    `json:"below,omitempty"`
	Above   bool    `json:"above,omitempty"`
}

// survey is this partition's part of a survey. Vehicles that are retired, or that
// nobody registered, have no part in it.
func (p *Partition) survey(ev Event, d *SurveyData) *SurveyPart {
	// Not the partition's own moment: all of them answer for the same one.
	part := &SurveyPart{Turn: d.Turn, Now: ev.Time.UTC()}
	if p.law.Book == nil {
		return part
	}
	part.Book = p.law.Book.Hash
	if p.asks == "" {
		return part
	}
	for _, v := range p.Vehicles() {
		if reg := p.record(v).registered(); reg != nil && !reg.Retired {
			f := p.view(p.record(v))
			f.when = part.Now
			part.Samples = append(part.Samples, surveyed(f)...)
		}
	}
	return part
}

func surveyed(f *view) []SurveySample {
	var out []SurveySample
	a := f.applied()
	for i := range a.comps {
		b := a.rules.Baselines[i]
		if b == nil || b.Fleet == nil {
			continue
		}
		f.rec.ensureChains()
		t := f.timeline(i)
		since := int64(math.MinInt64)
		if l := b.Fleet.Last; l.Months+l.Days > 0 {
			since = daysBefore(interval.DateOf(f.when, a.zone), l.Months, l.Days).Start(a.zone).UnixNano()
		}
		for k := range t.steps {
			if s := t.steps[k].sample; s != nil && t.steps[k].at >= since && t.steps[k].at <= f.when.UnixNano() {
				one := surveySample(t.lab[:k+1])
				one.Vehicle, one.Component, one.Number = f.rec.Vehicle, s.Component, s.Number
				one.Drawn, one.Baseline, one.Group = s.drawn(a.zone), b.Name, b.Fleet.Group(&a.vehicle, &a.comps[i])
				out = append(out, one)
			}
		}
	}
	return out
}

// daysBefore is the date so many months and days before another.
func daysBefore(d interval.Date, months, days int) interval.Date {
	return d.AddMonths(-months).AddDays(-days)
}

func surveySample(h lab.History) SurveySample {
	sheet := lab.Sheet{History: h}
	age := func(kind unit.Kind) float64 {
		if v, _, ok := sheet.MixedAge(kind); ok {
			return v
		}
		return -1
	}
	out := SurveySample{Distance: age(unit.Distance), Hours: age(unit.Time), Results: []SurveyResult{}}
	for _, r := range h[len(h)-1].Results {
		out.Results = append(out.Results, SurveyResult{r.Analyte, r.Value, r.Censored, r.Above})
	}
	return out
}
