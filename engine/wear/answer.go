package wear

import (
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// significant is the chance below which a trend is taken for real.
const significant = 0.05

// Number answers a word of the measure, rates per metre and, of [word.RatePer100h], per
// second; ends chooses what a value "below" or "above" stands for. What is missing is said
// in words where ok is false.
func (t Track) Number(w word.Word, ends lab.Ends, usual []*rules.Baseline) (v float64, why string, ok bool) {
	s := lab.Sheet{History: t.Lab, Ends: ends}
	name := t.Measure.Name
	if len(t.Lab) == 0 {
		return 0, t.none(), false
	}
	switch w {
	case word.Value:
		return s.Value(name)
	case word.Change:
		v, why, ok = s.Change(name)
	case word.Rate:
		v, why, ok = s.RateBy(name, unit.Distance)
	case word.RatePer100h:
		v, why, ok = s.RateBy(name, unit.Time)
	case word.Trend:
		trend, missing, known := s.WearTrend(name, unit.Distance)
		v, why, ok = trend.Slope, missing, known
	case word.Times, word.Deviations:
		return t.against(w, s, usual)
	}
	if !ok && len(t.Lab) < 2 {
		why = "an earlier measurement of the " + name
	}
	return v, why, ok
}

// against compares the value with what is usual.
func (t Track) against(w word.Word, s lab.Sheet, usual []*rules.Baseline) (float64, string, bool) {
	name := t.Measure.Name
	for _, b := range usual {
		switch mean := b.Mean[name]; {
		case mean == 0:
		case w == word.Times:
			return s.Times(name, mean)
		default:
			return s.Deviations(name, mean, b.Spread[name])
		}
	}
	return 0, "a baseline for the " + name, false
}

// Truth answers a word that is true or false.
func (t Track) Truth(w word.Word) (v bool, why string, ok bool) {
	name := t.Measure.Name
	switch w {
	case word.Has:
		return len(t.Lab) > 0, t.none(), true
	case word.HasEarlier:
		return len(t.Lab) > 1, "an earlier measurement of the " + name, true
	case word.Below:
		return len(t.Lab) > 0 && t.Lab[len(t.Lab)-1].Results[0].Censored, t.none(), len(t.Lab) > 0
	}
	trend, why, ok := lab.Sheet{History: t.Lab}.WearTrend(name, unit.Distance)
	return trend.P < significant, why, ok
}

// none says that there is no value.
func (t Track) none() string {
	if len(t.renewed) > 0 {
		return "a measurement of the " + t.Measure.Name + " since it was renewed"
	}
	return "a measurement of the " + t.Measure.Name
}

// Rests is how many of the last points a word's answer rests on.
func (t Track) Rests(w word.Word) []Point {
	n := len(t.Points)
	switch w {
	case word.Value, word.Has, word.Below, word.Times, word.Deviations:
		n = min(n, 1)
	case word.Change, word.HasEarlier, word.Rate, word.RatePer100h:
		n = min(n, 2)
	}
	return t.Points[len(t.Points)-n:]
}
