package sample

import (
	"math"
	"strconv"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/unit"
)

// History is how the leading analytes went over the component's life, with
// the drains between.
type History struct {
	Unit   string    `json:"unit"` // of Run: the reader's distance, or h
	Drains []float64 `json:"drains,omitempty"`
	Series []Series  `json:"series"`
}

// Series is one analyte, as times the baseline's mean.
type Series struct {
	Analyte string  `json:"analyte"`
	Title   string  `json:"title"`
	Points  []Point `json:"points"`
}

// Point is one sample: where the meter stood, and the result. Of one that
// is below a limit Times is that limit.
type Point struct {
	Run   float64 `json:"run"`
	Times float64 `json:"times"`
	Below bool    `json:"below,omitempty"`
}

// limits of the rules that measure exactly this analyte, as times the mean.
func (v *sampleVerdict) limits(analyte string, mean float64) map[alarm.Stage]float64 {
	var out map[alarm.Stage]float64
	of := strconv.Quote(analyte)
	for _, ar := range v.view.Applied().Rules.Rules {
		r, over := ar.Rule, 1.0
		switch {
		case ar.Component != v.comp || !r.Measured || r.Below:
			continue
		case r.Condition() == "value("+of+")":
			over = mean
		case r.Condition() != "times("+of+")":
			continue
		}
		got := v.view.Judge.Run(r, v.x)
		if len(got.Ends) == 0 {
			continue
		}
		for s := rules.Advisory; s <= rules.Warning; s++ {
			if out == nil {
				out = map[alarm.Stage]float64{}
			}
			if r.Has[s] {
				out[alarm.RuleStages[s]] = got.Ends[0].Limits[s] / over
			}
		}
	}
	return out
}

// history follows the analytes that lead now over all kept samples; there is none
// without a baseline or a meter.
func (v *sampleVerdict) history() *History {
	names := v.leading(v.x.Sheet)
	h := &History{Unit: v.view.Units().Distance}
	run := func(i int) float64 { return unit.From(v.t.Lab[i].Distance, h.Unit) }
	if math.IsNaN(run(len(v.t.Lab) - 1)) {
		h.Unit = "h"
		run = func(i int) float64 { return unit.From(v.t.Lab[i].Hours, "h") }
	}
	for i := range v.t.Steps {
		if at := run(i); v.t.Steps[i].Exchanged() && !math.IsNaN(at) {
			h.Drains = append(h.Drains, at)
		}
	}
	for _, r := range v.Results {
		for _, name := range names {
			if name == r.Analyte {
				if s := v.series(r, run); len(s.Points) > 0 {
					h.Series = append(h.Series, s)
				}
			}
		}
	}
	if len(h.Series) == 0 {
		return nil
	}
	return h
}

func (v *sampleVerdict) series(r Result, run func(int) float64) Series {
	s := Series{Analyte: r.Analyte, Title: r.Title}
	usual, _ := v.x.Mean(r.Analyte)
	mean := usual.Value
	for i := range v.t.Steps {
		for _, old := range v.t.Lab[i].Results {
			if at := run(i); old.Analyte == r.Analyte && !math.IsNaN(at) {
				s.Points = append(s.Points, Point{Run: at, Times: old.Value / mean, Below: old.Censored})
			}
		}
	}
	return s
}

// Drains is how much more draining would dilute what is over its limit.
type Drains struct {
	To    float64       `json:"to"` // the first limit, in the analyte's unit
	Count int           `json:"count"`
	Fluid unit.Quantity `json:"fluid"`          // all of them together
	Note  string        `json:"note,omitempty"` // what it does not do
}

// drains reckons with drains like the last one; nil where the result is under its limits,
// or no such drain brings it there.
func (v *sampleVerdict) drains(r *Result, mean float64) *Drains {
	to := math.Inf(1)
	for _, l := range r.Limits {
		to = math.Min(to, l*mean)
	}
	n, _, ok := v.x.Sheet.ExchangesTo(r.Analyte, to)
	if !ok || n == 0 || !v.known(r.Analyte) {
		return nil
	}
	l, _, ok := v.x.Sheet.LitresTo(r.Analyte, to, event.Litres(v.x.Def.Capacity))
	if !ok {
		return nil
	}
	u := v.view.Units().Volume
	return &Drains{To: to, Count: int(n), Fluid: unit.Quantity{Value: math.Round(unit.From(l, u)*10) / 10, Unit: u}, Note: lab.DilutionNote(r.Analyte)}
}

// known reports whether the sample gives the analyte as a number.
func (v *sampleVerdict) known(analyte string) bool {
	r, ok := v.x.Sheet.Result(analyte)
	return ok && !r.Censored && !r.Above
}
