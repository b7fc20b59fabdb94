package judge

import (
	"math"
	"slices"
	"strings"

	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// A component's samples show which limit its fluid reaches first, if it goes on as
// before. That may offer another point for the work that renews the fluid: sooner where
// a limit is reached before it, later where everything that wears a fluid out is known
// and allows it. It is an offer: the point moves when a person accepts it, and by no
// other way.

// Outlook is what the forecasts of all rules that measure a component come to. Ages and
// runs are metres of distance or, with hours, seconds of running.
type Outlook struct {
	Rule     *rules.Rule // whose limit is crossed first; nil where none is in sight
	Stage    int         // of the limit
	Crossing lab.Crossing
	Ages     []float64 // of the fluid in the samples that it rests on
	Hours    bool      // by hours, where the distance is not known
	seen     int       // the kinds of wearing out that some rule followed, as bits of kindsOf
	age      float64   // of the fluid now; NaN where nothing could be followed
	greatest float64   // the greatest age that was sampled
	drain    float64   // the age at which to drain
}

const (
	reserve  = 0.10 // of the age at the least; common practice, no source
	MostSeen = 2    // times the greatest age sampled: further is not known
	// longest is how far an interval is stretched: times the task's own. Common
	// practice, no source.
	Longest = 1.5
	// slight is the share of the task's interval below which a difference is not
	// worth an answer.
	slight = 0.05
)

// The kinds of wearing out that a longer interval asks for, and what shows them.
const (
	ByWear = 1 << iota
	byAdditives
	byViscosity
	byContamination
)

var agedBy = []struct {
	kind int
	name string
}{
	{ByWear, "wear metals"}, {byAdditives, "additives (TBN or TAN)"},
	{byViscosity, "viscosity"}, {byContamination, "contamination"},
}

// KindsOf are the kinds that a rule's condition follows.
func KindsOf(r *rules.Rule) (kinds int) {
	if len(r.Asks(rules.WordOutOfGrade)) > 0 {
		kinds |= byViscosity
	}
	for _, name := range r.Reads() {
		switch a, _ := analytes.Find(name); {
		case a.Wear, a.Name == "ferrous":
			kinds |= ByWear
		case a.Kind == unit.BaseNumber:
			kinds |= byAdditives
		case a.Kind == unit.Viscosity:
			kinds |= byViscosity
		case slices.Contains([]string{"Si", "Na", "K", "water", "fuel", "glycol", "soot"}, a.Name):
			kinds |= byContamination
		}
	}
	return kinds
}

// fixedByTime reports whether it is a kind of component or a fluid that time or the
// law wears out, whatever a sample says.
func fixedByTime(kind string) bool {
	kind = strings.ToLower(kind)
	for _, k := range []string{"brake", "cooling", "coolant", "antifreeze", "clutch hydraulic"} {
		if strings.Contains(kind, k) {
			return true
		}
	}
	return strings.HasPrefix(kind, "dot ")
}

// Outlook finds the first limit that is crossed of all rules that measure: wear,
// additives, viscosity and contamination alike.
func (v *View) Outlook(comp int) Outlook {
	out := Outlook{age: math.NaN()}
	if c := v.Applied().Comps[comp]; fixedByTime(c.Kind) || fixedByTime(c.Fluid) {
		return out
	}
	for _, out.Hours = range []bool{false, true} {
		for _, ar := range v.Applied().Rules.Rules {
			if r := ar.Rule; r.Measured && r.On&rules.OnSample != 0 && ar.Component == comp {
				v.crossing(r, comp, &out)
			}
		}
		if !math.IsNaN(out.age) {
			break // ages are known by distance
		}
	}
	out.drain = MostSeen * out.greatest
	if out.Rule != nil {
		out.drain = math.Min(out.drain, float64((out.age+out.Crossing.Low)*(1-reserve)))
	}
	return out
}

// Run is how much further the fluid may run until it is drained: to the age reached at
// the least, less the reserve, at most twice the greatest age that was ever sampled.
func (o *Outlook) Run() (further float64, capped bool) {
	age, most := o.Ages[len(o.Ages)-1], MostSeen*slices.Max(o.Ages)
	interval := (age + o.Crossing.Low) * (1 - reserve)
	if interval > most {
		interval, capped = most, true
	}
	return math.Max(interval-age, 0), capped
}

// crossing forecasts one rule's next limit, and notes it where it is the first so far.
func (v *View) crossing(r *rules.Rule, comp int, o *Outlook) {
	var ages, measures []float64
	var last rules.End
	t := v.Timeline(comp)
	t = t.UpTo(t.LastSample())
	for i := t.Lab.Alike(); i < len(t.Steps); i++ {
		s := t.Steps[i]
		age := t.Lab.Ages(i).Distance
		if o.Hours {
			age = t.Lab.Ages(i).Hours
		}
		if s.Sample == nil || math.IsNaN(age) {
			continue
		}
		x := v.FactsAt(comp, s.Place, max(s.At, s.Sample.At))
		x.Reported = true
		got := v.Judge.Run(r, x)
		if len(got.Ends) == 0 {
			continue
		}
		last = got.Ends[0]
		ages, measures = append(ages, age), append(measures, last.Measure)
	}
	if len(ages) < 3 {
		return
	}
	o.age, o.greatest = ages[len(ages)-1], math.Max(o.greatest, slices.Max(ages))
	o.seen |= KindsOf(r)
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
			if o.Rule == nil || c.Low < o.Crossing.Low {
				o.Rule, o.Stage, o.Crossing, o.Ages = r, s, c, ages
			}
			return
		}
	}
}
