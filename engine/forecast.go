package engine

import (
	"math"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/unit"
)

// VerdictForecast is which limit the fluid reaches first if it goes on as before,
// and the interval between drains that follows from it. It is an offer to a person:
// nothing is moved by it.
type VerdictForecast struct {
	Rule  string `json:"rule"`
	Stage string `json:"stage"`
	// Least, Likely and Most are how much further the fluid runs; Most is absent where
	// the measure may as well not rise.
	Least  unit.Quantity  `json:"least"`
	Likely unit.Quantity  `json:"likely"`
	Most   *unit.Quantity `json:"most,omitempty"`
	// Drain is the further run after which to drain: the age reached at the least, less
	// the reserve, at most twice the greatest age that was ever sampled.
	Drain   unit.Quantity `json:"drain"`
	Capped  bool          `json:"capped,omitempty"`
	Samples int           `json:"samples"`
	Says    string        `json:"says"`
}

const (
	reserve  = 0.10 // of the age at the least; common practice, no source
	mostSeen = 2    // times the greatest age sampled: further is not known
)

// neverStretched are the kinds of component whose fluid is changed by time or law,
// whatever a sample says.
func neverStretched(kind string) bool {
	kind = strings.ToLower(kind)
	for _, k := range []string{"brake", "cooling", "coolant", "clutch hydraulic"} {
		if strings.Contains(kind, k) {
			return true
		}
	}
	return false
}

// forecast finds the first limit that is crossed of all rules that measure: wear,
// additives, viscosity and contamination alike.
func (v *verdictOf) forecast() *VerdictForecast {
	if neverStretched(v.f.applied().comps[v.comp].Kind) {
		return nil
	}
	var first *VerdictForecast
	least := math.Inf(1)
	for _, hours := range []bool{false, true} {
		for _, ar := range v.f.applied().rules.Rules {
			if r := ar.Rule; r.Measured && r.On&rules.OnSample != 0 && ar.Component == v.comp {
				if c, one := v.crossing(r, hours); one != nil && c.Low < least {
					least, first = c.Low, one
				}
			}
		}
		if first != nil {
			break // ages are known by distance
		}
	}
	if first != nil {
		first.Says = first.words(v.Fluid)
	}
	return first
}

// crossing forecasts one rule's next limit.
func (v *verdictOf) crossing(r *rules.Rule, hours bool) (lab.Crossing, *VerdictForecast) {
	var ages, measures []float64
	var last rules.End
	greatest := 0.0
	for i := v.t.lab.Alike(); i < len(v.t.steps); i++ {
		s := v.t.steps[i]
		age := v.t.lab.Ages(i).Distance
		if hours {
			age = v.t.lab.Ages(i).Hours
		}
		if s.sample == nil || math.IsNaN(age) {
			continue
		}
		x := v.f.factsAt(v.comp, s.place, max(s.at, s.sample.At))
		x.reported = true
		got := v.f.p.judge.Run(r, x)
		if len(got.Ends) == 0 {
			continue
		}
		last = got.Ends[0]
		ages, measures, greatest = append(ages, age), append(measures, last.Measure), math.Max(greatest, age)
	}
	if len(ages) < 3 {
		return lab.Crossing{}, nil
	}
	sign := 1.0
	if r.Below {
		sign = -1
		for i := range measures {
			measures[i] = -measures[i]
		}
	}
	for s := rules.Advisory; s <= rules.Warning; s++ {
		if !r.Has[s] || r.Below == (last.Measure < last.Limits[s]) && last.Measure != last.Limits[s] {
			continue
		}
		if c, ok := lab.CrossingOf(ages, measures, sign*last.Limits[s]); ok {
			return c, v.offered(r, s, c, ages[len(ages)-1], greatest, len(ages), hours)
		}
	}
	return lab.Crossing{}, nil
}

func (v *verdictOf) offered(r *rules.Rule, stage int, c lab.Crossing, age, greatest float64, n int, hours bool) *VerdictForecast {
	in := func(base float64) unit.Quantity {
		value, u := v.f.shown(base, hours)
		return unit.Quantity{Value: math.Floor(value/100) * 100, Unit: u}
	}
	if hours {
		in = func(base float64) unit.Quantity {
			value, u := v.f.shown(base, hours)
			return unit.Quantity{Value: math.Floor(value/5) * 5, Unit: u}
		}
	}
	out := &VerdictForecast{Rule: r.Name, Stage: ruleStages[stage], Least: in(c.Low), Likely: in(c.Likely), Samples: n}
	if !math.IsInf(c.High, 1) {
		most := in(c.High)
		out.Most = &most
	}
	interval := (age + c.Low) * (1 - reserve)
	if interval > mostSeen*greatest {
		interval, out.Capped = mostSeen*greatest, true
	}
	out.Drain = in(math.Max(interval-age, 0))
	return out
}
