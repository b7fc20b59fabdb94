package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/interval"
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

// outlook is what the forecasts of all rules that measure a component come to. Ages and
// runs are metres of distance or, with hours, seconds of running.
type outlook struct {
	rule     *rules.Rule // whose limit is crossed first; nil where none is in sight
	stage    int         // of the limit
	crossing lab.Crossing
	ages     []float64 // of the fluid in the samples that it rests on
	hours    bool      // by hours, where the distance is not known
	seen     int       // the kinds of wearing out that some rule followed, as bits of kindsOf
	age      float64   // of the fluid now; NaN where nothing could be followed
	greatest float64   // the greatest age that was sampled
	drain    float64   // the age at which to drain
}

// offer is where an outlook would have the task that renews the fluid.
type offer struct {
	task  string
	later bool // than it is due now
	hours bool
	life  float64 // where it is offered, as life distance or running hours
	// due is where the task stands now, at where it is offered, as the meter will
	// show; by is the difference.
	due, at, by unit.Quantity
	date        string // of the task's other limit, which stays; "" for none
}

const (
	reserve  = 0.10 // of the age at the least; common practice, no source
	mostSeen = 2    // times the greatest age sampled: further is not known
	// longest is how far an interval is stretched: times the task's own. Common
	// practice, no source.
	longest = 1.5
	// slight is the share of the task's interval below which a difference is not
	// worth an answer.
	slight = 0.05
)

// The kinds of wearing out that a longer interval asks for, and what shows them.
const (
	byWear = 1 << iota
	byAdditives
	byViscosity
	byContamination
)

var agedBy = []struct {
	kind int
	name string
}{
	{byWear, "wear metals"}, {byAdditives, "additives (TBN or TAN)"},
	{byViscosity, "viscosity"}, {byContamination, "contamination"},
}

// kindsOf are the kinds that a rule's condition follows.
func kindsOf(r *rules.Rule) (kinds int) {
	if len(r.Asks(rules.WordOutOfGrade)) > 0 {
		kinds |= byViscosity
	}
	for _, name := range r.Reads() {
		switch a, _ := analytes.Find(name); {
		case a.Wear, a.Name == "ferrous":
			kinds |= byWear
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

// outlook finds the first limit that is crossed of all rules that measure: wear,
// additives, viscosity and contamination alike.
func (f *view) outlook(comp int) outlook {
	out := outlook{age: math.NaN()}
	if c := f.applied().comps[comp]; fixedByTime(c.Kind) || fixedByTime(c.Fluid) {
		return out
	}
	for _, out.hours = range []bool{false, true} {
		for _, ar := range f.applied().rules.Rules {
			if r := ar.Rule; r.Measured && r.On&rules.OnSample != 0 && ar.Component == comp {
				f.crossing(r, comp, &out)
			}
		}
		if !math.IsNaN(out.age) {
			break // ages are known by distance
		}
	}
	out.drain = mostSeen * out.greatest
	if out.rule != nil {
		out.drain = math.Min(out.drain, float64((out.age+out.crossing.Low)*(1-reserve)))
	}
	return out
}

// crossing forecasts one rule's next limit, and notes it where it is the first so far.
func (f *view) crossing(r *rules.Rule, comp int, o *outlook) {
	var ages, measures []float64
	var last rules.End
	t := f.timeline(comp)
	t = t.upTo(t.lastSample())
	for i := t.lab.Alike(); i < len(t.steps); i++ {
		s := t.steps[i]
		age := t.lab.Ages(i).Distance
		if o.hours {
			age = t.lab.Ages(i).Hours
		}
		if s.sample == nil || math.IsNaN(age) {
			continue
		}
		x := f.factsAt(comp, s.place, max(s.at, s.sample.At))
		x.reported = true
		got := f.Judge.Run(r, x)
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
			if o.rule == nil || c.Low < o.crossing.Low {
				o.rule, o.stage, o.crossing, o.ages = r, s, c, ages
			}
			return
		}
	}
}

// drainTask is the task that renews the component's fluid, by a meter: of several
// the one that is due first.
func (f *view) drainTask(comp int, hours bool) (first due, ok bool) {
	least := math.Inf(1)
	for _, at := range f.applied().rules.Tasks {
		if at.Component != comp || !renews(at.Task) {
			continue
		}
		d := f.reckon(at, lastPlace, math.MaxInt64)
		f.pullIn(&d)
		if p := d.meterPoint(hours); !d.noHistory && !d.waiting && p < least {
			first, least, ok = d, p, true
		}
	}
	return first, ok
}

// renews reports whether the task changes a fluid whose interval a sample may move.
func renews(t *rules.Task) bool {
	fluid := func(n rules.Need) bool { return n.Fluid != "" }
	never := func(n rules.Need) bool { return fixedByTime(n.Fluid) }
	return !t.Statutory && (t.Share > 0 || slices.ContainsFunc(t.Needs, fluid)) && !slices.ContainsFunc(t.Needs, never)
}

func (d *due) meterPoint(hours bool) float64 {
	if hours {
		return d.point.Hours
	}
	return d.point.Distance
}

// meterInterval is the task's own interval and where it counts from, by that meter.
func (d *due) meterInterval(hours bool) (every, from float64) {
	if hours {
		return d.plan.Interval().Hours, d.countsFrom(interval.ByHours).Hours
	}
	return d.plan.Interval().Distance, d.countsFrom(interval.ByDistance).Distance
}

// offer is what the outlook offers, or why it offers no longer interval; neither where
// there is nothing to offer.
func (f *view) offer(comp int, o *outlook) (offered *offer, none string) {
	d, ok := f.drainTask(comp, o.hours)
	if !ok || math.IsNaN(o.age) {
		return nil, ""
	}
	every, from := d.meterInterval(o.hours)
	point, at := d.meterPoint(o.hours), f.reaches(comp, o.drain, o.hours)
	at = math.Min(at, from+float64(every*longest))
	if math.IsNaN(at) || math.Abs(at-point) < slight*every {
		return nil, ""
	}
	if at > point {
		if none := f.notLonger(comp, o, &d); none != "" {
			return nil, none
		}
	}
	return f.offered(&d, point, at, o.hours), ""
}

// reaches is where the fluid reaches an age, as life distance or running hours: as it
// is now, which may be younger than the sample, drained since. NaN where not known.
func (f *view) reaches(comp int, age float64, hours bool) float64 {
	t := f.timeline(comp)
	last := len(t.lab) - 1
	ages, at := t.lab.Ages(last), t.lab[last].Distance
	now := ages.Distance
	if hours {
		now, at = ages.Hours, t.lab[last].Hours
	}
	return at + math.Max(age-now, 0)
}

// notLonger is why the work is not offered later, though no limit is near.
func (f *view) notLonger(comp int, o *outlook, d *due) string {
	var missing []string
	for _, k := range agedBy {
		if o.seen&k.kind == 0 {
			missing = append(missing, k.name)
		}
	}
	worst, unjudged := 0, ""
	for _, ar := range f.applied().rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != comp {
			continue
		}
		l, _ := f.rec.latch(AlarmKey{ar.Rule.Name, f.componentName(comp)})
		worst = max(worst, l.Stage)
		if len(l.Missing) > 0 && unjudged == "" {
			unjudged = ar.Rule.Name
		}
	}
	const longer = "a longer interval is not offered: "
	switch {
	case len(d.pulls) > 0:
		return longer + "an alarm asks for the work sooner"
	case worst >= rules.Caution:
		return longer + "a " + ruleStages[worst] + " stands"
	case len(missing) > 0:
		return longer + "at least three samples must have been judged by a rule on each of " + strings.Join(missing, ", ")
	case unjudged != "":
		return fmt.Sprintf("%s%q could not judge this sample", longer, unjudged)
	}
	return ""
}

func (f *view) offered(d *due, point, at float64, hours bool) *offer {
	round := 100.0
	if hours {
		round = 5
	}
	// People answer by round numbers, and what is rounded errs on the near side.
	shift := f.faceShift(d.comp, hours)
	out := &offer{task: d.task.Name, later: at > point, hours: hours}
	out.due, out.at = *f.quantity(point-shift, hours), *f.quantity(at-shift, hours)
	out.at.Value = math.Floor(out.at.Value/round) * round
	base, _, _ := out.at.Base()
	out.life = base + shift
	out.by = *f.quantity(math.Abs(out.life-point), hours)
	if d.point.HasDate {
		out.date = d.point.Date.String()
	}
	return out
}

// faceShift is how far the life value lies over what the meter shows.
func (f *view) faceShift(comp int, hours bool) float64 {
	if c := f.chain(comp, hours); c != nil {
		if p, ok := c.last(math.MaxInt64); ok {
			return p.life - p.face
		}
	}
	return 0
}
