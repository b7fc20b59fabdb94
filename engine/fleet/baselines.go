package fleet

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
)

// keptPlaces is how many values, or quantiles in place of more, a set keeps of an
// analyte.
const keptPlaces = 199

// Make makes the fleet's baselines of all partitions' parts of a survey,
// by the book that was in force at it. The order of parts and samples makes no
// difference.
func Make(b *rules.Book, number int, parts []SurveyPart) *Set {
	return MakeAfter(nil, b, number, parts)
}

// MakeAfter is Make where a set was in force before, whose finished forecasts go on
// counting; nil for none.
func MakeAfter(before *Set, b *rules.Book, number int, parts []SurveyPart) *Set {
	set := &Set{Number: number, Book: b.Hash}
	of := map[string][]SurveySample{}
	for _, p := range parts {
		set.Turn, set.Now = p.Turn, p.Now
		for _, s := range p.Samples {
			of[s.Baseline] = append(of[s.Baseline], s)
		}
	}
	for _, bl := range b.Baselines {
		if bl.Fleet != nil {
			set.Baselines = append(set.Baselines, Baseline{Name: bl.Name, Definition: bl.Definition(),
				GroupBy: bl.Fleet.GroupBy, Groups: fleetGroups(bl.Fleet, of[bl.Name])})
		}
	}
	var known *Dates
	if before != nil {
		known = before.Dates
	}
	set.Dates = known.after(parts, set.Now)
	slices.SortFunc(set.Baselines, func(a, b Baseline) int { return strings.Compare(a.Name, b.Name) })
	return set
}

func fleetGroups(def *rules.Fleet, samples []SurveySample) []Group {
	// The order makes no difference to what is reckoned of them but the last digit.
	slices.SortFunc(samples, func(a, b SurveySample) int {
		return cmp.Or(slices.Compare(a.Group, b.Group), strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Component, b.Component),
			strings.Compare(a.Drawn, b.Drawn), strings.Compare(a.Number, b.Number))
	})
	var out []Group
	for len(samples) > 0 {
		n := 1
		for n < len(samples) && slices.Equal(samples[n].Group, samples[0].Group) {
			n++
		}
		out = append(out, fleetGroup(def, samples[:n]))
		samples = samples[n:]
	}
	return out
}

func fleetGroup(def *rules.Fleet, samples []SurveySample) Group {
	g := Group{Of: samples[0].Group, Samples: len(samples), Oldest: samples[0].Drawn, Newest: samples[0].Drawn, Analytes: []Analyte{}}
	vehicles, analytes, byHours := map[string]bool{}, map[string]bool{}, 0
	for _, s := range samples {
		vehicles[s.Vehicle] = true
		g.Oldest, g.Newest = min(g.Oldest, s.Drawn), max(g.Newest, s.Drawn)
		switch {
		case s.Distance >= 0:
			byHours--
		case s.Hours >= 0:
			byHours++
		}
		for _, r := range s.Results {
			analytes[r.Analyte] = true
		}
	}
	g.Vehicles, g.Hours = len(vehicles), byHours > 0
	g.Age = meanAge(samples, g.Hours)
	for _, a := range slices.Sorted(maps.Keys(analytes)) {
		g.Analytes = append(g.Analytes, fleetAnalyte(def, a, g.Hours, samples))
	}
	return g
}

func meanAge(samples []SurveySample, hours bool) *float64 {
	sum, n := 0.0, 0
	for i := range samples {
		if age := samples[i].age(hours); age >= 0 {
			sum, n = sum+age, n+1
		}
	}
	return number(sum / float64(n))
}

func fleetAnalyte(def *rules.Fleet, analyte string, hours bool, samples []SurveySample) Analyte {
	var members []lab.Member
	at := map[string]int{} // samples by what the group calls them
	for i := range samples {
		s := &samples[i]
		for _, r := range s.Results {
			if r.Analyte != analyte {
				continue
			}
			m := lab.Member{ID: fmt.Sprintf("%06d", i), Age: event.FromStored(s.age(hours)), Result: lab.Result{Analyte: analyte, Value: r.Value, Censored: r.Below, Above: r.Above}}
			members, at[m.ID] = append(members, m), i
		}
	}
	g := lab.GroupOf(members, 0)
	out := Analyte{Analyte: analyte, N: g.Members, Detected: g.Detected, Aged: g.Aged, Notes: g.Notes, SD: number(g.SD), Most: number(g.Most), Age: number(g.MeanAge)}
	left := map[string]bool{}
	for _, m := range members {
		s := &samples[at[m.ID]]
		switch {
		case slices.Contains(g.Outliers, m.ID):
			out.Outliers = append(out.Outliers, Outlier{s.Vehicle, s.Component, s.Number, s.Drawn, m.Result.Value})
		case !m.Result.Above:
			left[s.Vehicle] = true
		}
	}
	out.Vehicles = len(left)
	out.figures(&g)
	out.Unused = out.why(def)
	out.Usable = out.Unused == nil
	return out
}

// figures fills in what is usual.
func (a *Analyte) figures(g *lab.Group) {
	if g.Members == 0 {
		return
	}
	a.Mean, a.Median, a.Spread, a.P90, a.P95 = &g.Mean, &g.Median, &g.Spread, &g.P90, &g.P95
	a.Low = lab.Thinned(g.Low, keptPlaces)
	if !slices.Equal(g.Low, g.High) {
		a.High = lab.Thinned(g.High, keptPlaces)
	}
}

// why says what keeps samples from being judged by the analyte.
func (a *Analyte) why(def *rules.Fleet) (why []string) {
	if a.N < def.Samples {
		why = append(why, fmt.Sprintf("%s, %d are needed", english.Plural(a.N, "result"), def.Samples))
	}
	if a.Vehicles < def.Vehicles {
		why = append(why, fmt.Sprintf("%s, %d are needed", english.Plural(a.Vehicles, "vehicle"), def.Vehicles))
	}
	if a.Detected == 0 {
		why = append(why, "nothing was detected")
	}
	return why
}

// place is the share (0 to 1) of the group's values that lie under v, the least and
// the greatest that results below their limits allow.
func (a *Analyte) place(v float64) lab.Span {
	high := a.High
	if high == nil {
		high = a.Low
	}
	return lab.Span{Low: lab.PlaceOf(high, v), High: lab.PlaceOf(a.Low, v)}
}

// number is v, or nil where it is none.
func number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
