package engine

import (
	"math"
	"strconv"
	"strings"
	"telltale/rules"
	"telltale/rules/unit"
)

// whyJudged runs the rule again where it was judged last.
func (f *view) whyJudged(ar rules.AppliedRule, l Latch, at judgement) *WhyJudged {
	r, j := ar.Rule, f.Judge
	x := f.factsAt(ar.Component, at.before, at.at)
	got := j.Run(r, x)
	if len(got.Ends) == 0 {
		return nil
	}
	end := got.Ends[len(got.Ends)-1]
	out := &WhyJudged{On: f.whyEvent(at.id), Condition: r.Condition()}
	x.used = nil
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
	if b := x.baseline; b != nil && r.On&rules.OnSample != 0 {
		out.Baseline = f.whyBaseline(b, r.Condition())
		if out.Baseline.Fleet = x.fleet; x.fleet != nil {
			for a, v := range out.Baseline.Mean {
				out.Baseline.Mean[a] = math.Round(v*1000) / 1000
			}
		}
	}
	for _, id := range x.used {
		out.Events = append(out.Events, f.whyEvent(id))
	}
	return out
}

func whyLimits(r *rules.Rule, l Latch, e rules.End) []WhyLimit {
	var out []WhyLimit
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
		w := WhyLimit{Stage: rules.StageNames[s], At: e.Limits[s], Off: e.Limits[s] + off, Below: r.Below, On: l.On[s], Source: r.SourceOf(s)}
		if r.Confirm[s] > 1 {
			w.Count, w.Takes = l.Count[s], r.Confirm[s]
		}
		out = append(out, w)
	}
	return out
}

func (f *view) whyBaseline(b *rules.Baseline, condition string) *WhyBaseline {
	named := func(figures map[string]float64) map[string]float64 {
		out := map[string]float64{}
		for a, v := range figures {
			if strings.Contains(condition, strconv.Quote(a)) {
				out[a] = v
			}
		}
		return out
	}
	out := &WhyBaseline{Name: b.Name, Source: b.Source, Mean: named(b.Mean), Fresh: named(b.Fresh)}
	if strings.Contains(condition, rules.WordDeviations.String()+"(") {
		out.Spread = named(b.Spread)
	}
	switch {
	case b.FluidAge.Distance > 0:
		v, u := f.shown(b.FluidAge.Distance, false)
		out.FluidAge = &unit.Quantity{Value: v, Unit: u}
	case b.FluidAge.Hours > 0:
		v, u := f.shown(b.FluidAge.Hours, true)
		out.FluidAge = &unit.Quantity{Value: v, Unit: u}
	}
	return out
}
