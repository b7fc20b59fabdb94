package why

import (
	"math"
	"strconv"
	"strings"

	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/rules"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// whyJudged runs the rule again where it was judged last.
func whyJudged(v *judge.View, ar rules.AppliedRule, l latch.Latch, at judge.Judgement) *Judged {
	r, j := ar.Rule, v.Judge
	x := v.FactsAt(ar.Component, at.Before, at.At)
	got := j.Run(r, x)
	if len(got.Ends) == 0 {
		return nil
	}
	end := got.Ends[len(got.Ends)-1]
	out := &Judged{On: v.Event(at.ID), Condition: r.Condition()}
	x.Used = nil
	out.Evidence = j.Why(r, x, end)
	if l.Stage > 0 {
		out.Message = j.Say(r, l.Stage, x, end.Measure)
	}
	if r.Measured {
		out.Measure = &end.Measure
		out.Limits = whyLimits(r, l, end)
	} else {
		out.Raise = &end.Raise
		out.Source = r.SourceOf(0)
	}
	if b := x.Baseline; b != nil && r.On&rules.OnSample != 0 {
		out.Baseline = whyBaseline(v, b, r.Condition())
		if out.Baseline.Fleet = x.Fleet; x.Fleet != nil {
			for a, value := range out.Baseline.Mean {
				out.Baseline.Mean[a] = math.Round(value*1000) / 1000
			}
		}
	}
	for _, id := range x.Used {
		out.Events = append(out.Events, v.Event(id))
	}
	return out
}

func whyLimits(r *rules.Rule, l latch.Latch, e rules.End) []Limit {
	var out []Limit
	for s := rules.Advisory; s <= rules.Warning; s++ {
		if !r.Has[s] {
			continue
		}
		off := math.Abs(e.Limits[s]) * r.Deadband
		if e.Limits[s] <= 0 {
			off = r.Deadband
		}
		if !r.Below {
			off = -off
		}
		w := Limit{Stage: rules.StageNames[s], At: e.Limits[s], Off: e.Limits[s] + off, Below: r.Below, On: l.On[s], Source: r.SourceOf(s)}
		if r.Confirm[s] > 1 {
			w.Count, w.Takes = l.Count[s], r.Confirm[s]
		}
		out = append(out, w)
	}
	return out
}

func whyBaseline(v *judge.View, b *rules.Baseline, condition string) *Baseline {
	named := func(figures map[string]float64) map[string]float64 {
		out := map[string]float64{}
		for a, value := range figures {
			if strings.Contains(condition, strconv.Quote(a)) {
				out[a] = value
			}
		}
		return out
	}
	out := &Baseline{Name: b.Name, Source: b.Source, Mean: named(b.Mean), Fresh: named(b.Fresh)}
	if strings.Contains(condition, word.Deviations.String()+"(") {
		out.Spread = named(b.Spread)
	}
	switch {
	case b.FluidAge.Distance > 0:
		value, u := v.Shown(b.FluidAge.Distance, false)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	case b.FluidAge.Hours > 0:
		value, u := v.Shown(b.FluidAge.Hours, true)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	}
	return out
}
