package lab

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"telltale/rules/english"
)

// Member is one sample's result in a group that is to give a baseline.
type Member struct {
	ID     string // what the record of outliers calls it
	Result Result
	Age    float64 // the fluid's age, metres or seconds, one kind for the group; NaN where unknown
}

// Span is a number of which censored results leave a range open; Low and High are
// equal where it is known.
type Span struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// Group is what is usual for an analyte in samples of like components and fluid.
type Group struct {
	Members, Detected int // counted without the outliers
	Outliers          []string
	Mean              Span // by Kaplan-Meier
	Median            Span
	// Low and High are the members' values, sorted, with each censored result at 0
	// and at its limit.
	Low, High []float64
	// Spread is the range of the middle half over 1.349, which is the standard
	// deviation of normal values and is not swayed by a few far ones.
	Spread Span
	// SD is the standard deviation with censored results filled in by [ros]; NaN
	// where that cannot be fitted.
	SD float64
	// Most is a limit that 19 of 20 such samples stay under, with 95 % confidence, the
	// values being taken as lognormal ([toleranceFactor], censored results filled in by
	// [ros]); NaN of fewer than eight, or where they cannot be filled in.
	Most    float64
	P90     Span
	P95     Span
	MeanAge float64  // of the members whose age is known; NaN where none is
	Aged    int      // how many those are
	Notes   []string // what was not done and why
	// Usable is false where the group is too small to judge by; the notes say so.
	Usable bool
}

// Groups under leastTested are not tested for outliers: the test is fair from 15
// values only (NIST/SEMATECH e-Handbook 1.3.5.17.3).
const leastTested = 15

// GroupOf summarises the members for a baseline. Outliers are looked for among the
// logarithms of the detected values, at most a tenth of them at significance 0.05
// by the generalised ESD test, and left out with a record of which. A group of
// fewer than least members is reported and not usable. Order does not matter.
func GroupOf(members []Member, least int) Group {
	members = slices.SortedFunc(slices.Values(members), func(a, b Member) int {
		return cmp.Or(cmp.Compare(a.ID, b.ID), cmp.Compare(a.Result.Value, b.Result.Value))
	})
	var g Group
	members = g.withoutAbove(members)
	members = g.withoutOutliers(members)
	results := make([]Result, len(members))
	low, high := make([]float64, len(members)), make([]float64, len(members))
	for i, m := range members {
		results[i], high[i] = m.Result, m.Result.Value
		if !m.Result.Censored {
			low[i] = m.Result.Value
			g.Detected++
		}
	}
	slices.Sort(low)
	slices.Sort(high)
	g.Members, g.Low, g.High = len(members), low, high
	g.Mean.Low, g.Mean.High = kaplanMeier(results).Mean()
	at := func(p float64) Span { return Span{percentile(low, p), percentile(high, p)} }
	g.Median, g.P90, g.P95 = at(0.5), at(0.9), at(0.95)
	q1, q3 := at(0.25), at(0.75)
	g.Spread = Span{math.Max(0, q3.Low-q1.High) / 1.349, (q3.High - q1.Low) / 1.349}
	g.SD, g.Most = spreadOf(results), mostOf(results)
	g.age(members)
	if g.Usable = g.Members >= least && g.Members > 0; !g.Usable {
		g.Notes = append(g.Notes, fmt.Sprintf("%s fewer than the %d that a baseline needs", english.Counted(g.Members, "sample is", "samples are"), least))
	}
	return g
}

// withoutAbove leaves out results above the instrument's range: how far above is
// not known, and what is usual is better set too low than too high.
func (g *Group) withoutAbove(members []Member) []Member {
	all := len(members)
	members = slices.DeleteFunc(members, func(m Member) bool { return m.Result.Above })
	if n := all - len(members); n > 0 {
		g.Notes = append(g.Notes, english.Plural(n, "result")+" above the instrument's range left out")
	}
	return members
}

func (g *Group) withoutOutliers(members []Member) []Member {
	var logs []float64
	var at []int
	for i, m := range members {
		if !m.Result.Censored && m.Result.Value > 0 {
			logs, at = append(logs, math.Log(m.Result.Value)), append(at, i)
		}
	}
	if len(logs) < leastTested {
		g.Notes = append(g.Notes, fmt.Sprintf("not tested for outliers: %s detected, the test needs %d", english.Counted(len(logs), "value was", "values were"), leastTested))
		return members
	}
	out := map[int]bool{}
	for _, e := range Outliers(logs, len(logs)/10, 0.05) {
		out[at[e.Index]] = true
	}
	var kept []Member
	for i, m := range members {
		if out[i] {
			g.Outliers = append(g.Outliers, m.ID)
		} else {
			kept = append(kept, m)
		}
	}
	return kept
}

// leastMost is the number of results from which [Group.Most] is reckoned: of fewer it
// is many times what is usual (8 have the example of EPA 530/R-09-007 section 17.2).
const leastMost = 8

// filledIn are the results as numbers, the censored ones on the line through the
// others; nil where there is none.
func filledIn(results []Result) []float64 {
	values, limits := split(results)
	if len(limits) > 0 {
		values, _ = ros(results)
	}
	return values
}

// spreadOf is the standard deviation, censored results filled in.
func spreadOf(results []Result) float64 {
	values := filledIn(results)
	if len(values) < 2 {
		return math.NaN()
	}
	return stat.StdDev(values, nil)
}

// mostOf is [Group.Most].
func mostOf(results []Result) float64 {
	logs := filledIn(results)
	if len(logs) < leastMost || slices.Min(logs) <= 0 {
		return math.NaN()
	}
	for i, v := range logs {
		logs[i] = math.Log(v)
	}
	mean, sd := stat.MeanStdDev(logs, nil)
	return math.Exp(mean + float64(toleranceFactor(len(logs), 0.95, 0.95)*sd))
}

func (g *Group) age(members []Member) {
	var ages []float64
	for _, m := range members {
		if !math.IsNaN(m.Age) {
			ages = append(ages, m.Age)
		}
	}
	g.Aged, g.MeanAge = len(ages), math.NaN()
	if g.Aged > 0 {
		g.MeanAge = stat.Mean(ages, nil)
	}
	if unknown := len(members) - g.Aged; unknown > 0 {
		g.Notes = append(g.Notes, fmt.Sprintf("the fluid's age is unknown for %d of %d samples", unknown, len(members)))
	}
}
