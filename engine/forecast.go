package engine

import (
	"math"

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

	metal bool // the limit is a wear metal's
}

// outlook is what the forecasts of all rules that measure come to.
type outlook struct {
	*VerdictForecast         // of the limit that is crossed first; nil where none is in sight
	hours            bool    // by hours, where the distance is not known
	seen             int     // the kinds of wearing out that some rule followed, as bits of kindOf
	age              float64 // of the fluid now; NaN where nothing could be followed
	greatest         float64 // the greatest age that was sampled
	drain            float64 // the age at which to drain
}

const (
	reserve  = 0.10 // of the age at the least; common practice, no source
	mostSeen = 2    // times the greatest age sampled: further is not known
)

// forecast finds the first limit that is crossed of all rules that measure: wear,
// additives, viscosity and contamination alike.
func (v *verdictOf) forecast() outlook {
	out := outlook{age: math.NaN()}
	if fixedByTime(v.f.applied().comps[v.comp].Kind) || fixedByTime(v.Fluid) {
		return out
	}
	least := math.Inf(1)
	for _, out.hours = range []bool{false, true} {
		for _, ar := range v.f.applied().rules.Rules {
			if r := ar.Rule; r.Measured && r.On&rules.OnSample != 0 && ar.Component == v.comp {
				if c, one := v.crossing(r, &out); one != nil && c.Low < least {
					least, out.VerdictForecast = c.Low, one
				}
			}
		}
		if !math.IsNaN(out.age) {
			break // ages are known by distance
		}
	}
	out.drain = mostSeen * out.greatest
	if out.VerdictForecast != nil {
		out.drain = math.Min(out.drain, float64((out.age+least)*(1-reserve)))
		out.Says = out.words(v.Fluid)
	}
	return out
}

// crossing forecasts one rule's next limit.
func (v *verdictOf) crossing(r *rules.Rule, o *outlook) (lab.Crossing, *VerdictForecast) {
	var ages, measures []float64
	var last rules.End
	greatest := 0.0
	for i := v.t.lab.Alike(); i < len(v.t.steps); i++ {
		s := v.t.steps[i]
		age := v.t.lab.Ages(i).Distance
		if o.hours {
			age = v.t.lab.Ages(i).Hours
		}
		if s.sample == nil || math.IsNaN(age) {
			continue
		}
		x := v.f.factsAt(v.comp, s.place, max(s.at, s.sample.At))
		x.reported = true
		got := v.f.Judge.Run(r, x)
		if len(got.Ends) == 0 {
			continue
		}
		last = got.Ends[0]
		ages, measures, greatest = append(ages, age), append(measures, last.Measure), math.Max(greatest, age)
	}
	if len(ages) < 3 {
		return lab.Crossing{}, nil
	}
	o.age, o.greatest = ages[len(ages)-1], math.Max(o.greatest, greatest)
	o.seen |= kindsOf(r)
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
			return c, v.crossed(r, s, c, ages[len(ages)-1], greatest, len(ages), o.hours)
		}
	}
	return lab.Crossing{}, nil
}

func (v *verdictOf) crossed(r *rules.Rule, stage int, c lab.Crossing, age, greatest float64, n int, hours bool) *VerdictForecast {
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
	out := &VerdictForecast{Rule: r.Name, Stage: ruleStages[stage], Least: in(c.Low), Likely: in(c.Likely), Samples: n, metal: kindsOf(r)&byWear != 0}
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
