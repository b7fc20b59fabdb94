package fleet

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"telltale/engine/lab"
	"telltale/engine/trend"
	"telltale/rules"
	"telltale/rules/english"
)

// Audited is a rule of the book with limits on one analyte, as it is kept on the
// components of one group, beside what the group's own samples say of these limits. A
// partition names the rule and its limits; [Audit] adds what the set in force says.
type Audited struct {
	Baseline string   `json:"baseline"`
	Of       []string `json:"of"` // what the group shares
	Rule     string   `json:"rule"`
	Analyte  string   `json:"analyte"`
	// Times: the limits are of times(…), the result over the mean; else of value(…).
	Times      bool    `json:"times"`
	Components int     `json:"components"` // that it is kept on
	Stages     []Limit `json:"stages"`     // the mildest first

	Set      string `json:"set,omitempty"` // the hash; "" before the first set
	Number   int    `json:"number,omitempty"`
	On       string `json:"on,omitempty"` // the date of the survey
	Results  int    `json:"results"`      // that stand beside the limits, the outliers among them
	Vehicles int    `json:"vehicles"`     // without those of which an outlier is all there is
	// Percentiles are the fleet's own, by NIST's definition, without the outliers; as many
	// as the results are enough for.
	Percentiles []Percentile `json:"percentiles,omitempty"`
	// Why nothing, or not all, can be said.
	Why []string `json:"why,omitempty"`
}

// Limit is one stage's, and the results that reach it: the fewest and the most that
// results below the laboratory's limit, or a mean that they leave open, allow.
type Limit struct {
	Stage string  `json:"stage"`
	Limit float64 `json:"limit"` // as written: times, or in the analyte's unit
	// At is the limit in the analyte's unit; Beyond counts results, Share is of all, 0 to
	// 1. Absent where they are not known.
	At     *lab.Span `json:"at,omitempty"`
	Beyond *lab.Span `json:"beyond,omitempty"`
	Share  *lab.Span `json:"share,omitempty"`
}

// Percentile is what so many of a hundred results of the fleet stay under.
type Percentile struct {
	Of    float64  `json:"of"` // 90
	Value lab.Span `json:"value"`
}

// audited are the percentiles by which alarm limits are set from a distribution (ASTM
// D7720 sets them so; which it names is from memory).
var audited = []float64{90, 95, 98}

// AuditOf is a rule on a component of that group; ok is false of a rule that has no
// upper limits on one analyte's value or times, or reckons them.
func AuditOf(b *rules.Baseline, of []string, r *rules.Rule) (a Audited, ok bool) {
	a = Audited{Baseline: b.Name, Of: of, Rule: r.Name, Components: 1}
	if a.Analyte, a.Times, ok = r.OneAnalyte(); !ok {
		return a, false
	}
	for stage, name := range rules.StageNames {
		if v, ok := r.Limit(stage); ok {
			a.Stages = append(a.Stages, Limit{Stage: name, Limit: v})
		}
	}
	return a, a.Stages != nil
}

func (a *Audited) order(b *Audited) int {
	return cmp.Or(strings.Compare(a.Baseline, b.Baseline), slices.Compare(a.Of, b.Of), strings.Compare(a.Rule, b.Rule))
}

// Merge makes one of what is the same of several components, or partitions.
func Merge(parts []Audited) (out []Audited) {
	slices.SortStableFunc(parts, func(a, b Audited) int { return a.order(&b) })
	for i := range parts {
		if n := len(out); n > 0 && out[n-1].order(&parts[i]) == 0 {
			out[n-1].Components += parts[i].Components
			continue
		}
		out = append(out, parts[i])
	}
	return out
}

// Audit puts what the set in force, which may be nil, says beside the limits of all
// partitions.
func Audit(set *Set, parts []Audited) []Audited {
	out := Merge(parts)
	for i := range out {
		out[i].compare(set)
	}
	return out
}

// compare fills in what the set says.
func (a *Audited) compare(set *Set) {
	if set == nil {
		a.Why = []string{"the fleet's baselines are not made yet"}
		return
	}
	a.Set, a.Number, a.On = set.Hash(), set.Number, set.Now.UTC().Format(time.DateOnly)
	of := set.analyte(a.Baseline, a.Of, a.Analyte)
	if of == nil {
		a.Why = []string{"no sample of the group has a result for it"}
		return
	}
	a.Results, a.Vehicles = of.N+len(of.Outliers), of.Vehicles
	if !of.Usable {
		a.Why = of.Unused
		return
	}
	for i := range a.Stages {
		a.Stages[i].beyond(of, a.mean(of))
	}
	a.percentiles(of)
}

// mean is what limits are multiplied by.
func (a *Audited) mean(of *Analyte) lab.Span {
	if a.Times {
		return *of.Mean
	}
	return lab.Span{Low: 1, High: 1}
}

func (a *Audited) percentiles(of *Analyte) {
	low, high := of.values()
	for _, p := range audited {
		if least := int(math.Ceil(p / (100 - p))); of.N < least { // its rank is beyond the greatest value
			a.Why = append(a.Why, fmt.Sprintf("the limit that %g of 100 stay under needs %s", p, english.Plural(least, "result")))
			continue
		}
		at := func(x []float64) float64 { return trend.AtRank(x, p/100*float64(len(x)+1)) }
		a.Percentiles = append(a.Percentiles, Percentile{p, lab.Span{Low: at(low), High: at(high)}})
	}
}

// beyond counts the results that reach the limit.
func (l *Limit) beyond(of *Analyte, mean lab.Span) {
	l.At = &lab.Span{Low: l.Limit * mean.Low, High: l.Limit * mean.High}
	low, high := of.values()
	l.Beyond = &lab.Span{Low: of.reach(low, l.At.High), High: of.reach(high, l.At.Low)}
	all := float64(of.N + len(of.Outliers))
	l.Share = &lab.Span{Low: l.Beyond.Low / all, High: l.Beyond.High / all}
}

// values are the kept values in order, results below a limit at 0 and at the limit.
func (a *Analyte) values() (low, high []float64) {
	if a.High == nil {
		return a.Low, a.Low
	}
	return a.Low, a.High
}

// reach counts the results at a limit or over it, the outliers among them. Where the
// values are quantiles in place of more, it is reckoned from the place among them.
func (a *Analyte) reach(values []float64, limit float64) float64 {
	limit *= 1 - 1e-9 // a hair under has reached it
	n := 0.0
	for _, o := range a.Outliers {
		if o.Value >= limit {
			n++
		}
	}
	if len(values) < a.N {
		return n + math.Round(float64(a.N)*(1-lab.PlaceOf(values, limit)))
	}
	at, _ := slices.BinarySearch(values, limit)
	return n + float64(len(values)-at)
}

// analyte is what a group says of an analyte; nil where it says nothing.
func (s *Set) analyte(baseline string, of []string, analyte string) *Analyte {
	for i := range s.Baselines {
		for k := range s.Baselines[i].Groups {
			g := &s.Baselines[i].Groups[k]
			if s.Baselines[i].Name != baseline || !slices.Equal(g.Of, of) {
				continue
			}
			for j := range g.Analytes {
				if g.Analytes[j].Analyte == analyte {
					return &g.Analytes[j]
				}
			}
		}
	}
	return nil
}
