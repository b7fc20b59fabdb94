// Package outlook says which limit a component's fluid reaches first, if it goes on as in
// its samples so far, and where that would have the work that renews it. It asks a
// [judge.View] and changes nothing.
package outlook

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
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
	seen     int       // the kinds of wearing out that some rule followed, as bits of KindsOf
	view     *judge.View
	comp     int
	age      float64 // of the fluid now; NaN where nothing could be followed
	greatest float64 // the greatest age that was sampled
	drain    float64 // the age at which to drain
}

const (
	reserve = 0.10 // of the age at the least; common practice, no source
	// MostSeen is how far a forecast is trusted:
	MostSeen = 2 // times the greatest age sampled: further is not known
	// Longest is how far an interval is stretched: times the task's own. Common
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
	for w, kind := range map[word.Word]int{word.OutOfGrade: byViscosity, word.OutOfFluidGrade: byViscosity, word.ViscosityAt: byViscosity,
		word.AcidCrossing: byAdditives, word.AcidCrossingHours: byAdditives} {
		if len(r.Asks(w)) > 0 {
			kinds |= kind
		}
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

// Of finds the first limit that is crossed of all rules that measure the component: wear,
// additives, viscosity and contamination alike.
func Of(v *judge.View, comp int) Outlook {
	out := Outlook{view: v, comp: comp, age: math.NaN()}
	if c := v.Applied().Comps[comp]; fixedByTime(c.Kind) || fixedByTime(c.Fluid) {
		return out
	}
	for _, out.Hours = range []bool{false, true} {
		for _, ar := range v.Applied().Rules.Rules {
			if r := ar.Rule; r.Measured && r.On&rules.OnSample != 0 && ar.Component == comp {
				out.crossing(r)
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
func (o *Outlook) crossing(r *rules.Rule) {
	var ages, measures []float64
	var last rules.End
	sign := 1.0
	if r.Below {
		sign = -1
	}
	var latest record.Step
	t := o.view.Timeline(o.comp)
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
		end, ok := o.measured(r, o.factsOf(s))
		if !ok {
			continue
		}
		last, latest = end, s
		ages, measures = append(ages, age), append(measures, sign*last.Measure)
	}
	if len(ages) < 3 {
		return
	}
	off := o.off(r, latest, last.Measure)
	o.age, o.greatest = ages[len(ages)-1], math.Max(o.greatest, slices.Max(ages))
	o.seen |= KindsOf(r)
	for s := rules.Advisory; s <= rules.Warning; s++ {
		if !r.Has[s] || r.Below == (last.Measure < last.Limits[s]) && last.Measure != last.Limits[s] {
			continue
		}
		straight, limit, within := measures, sign*last.Limits[s], off
		if r.Below && slices.Equal(r.Reads(), []string{"TBN"}) {
			straight, limit, within = lab.Straightened(ages, measures, limit, off)
		}
		if c, ok := lab.CrossingOf(ages, straight, limit, within); ok {
			if o.Rule == nil || c.Low < o.Crossing.Low {
				o.Rule, o.Stage, o.Crossing, o.Ages = r, s, c, ages
			}
			return
		}
	}
}

// off is how much worse than measured a sample may be, by the method alone.
func (o *Outlook) off(r *rules.Rule, s record.Step, measured float64) float64 {
	x := o.factsOf(s)
	x.Sheet = x.Sheet.Off(!r.Below)
	end, ok := o.measured(r, x)
	switch {
	case !ok:
		return 0
	case r.Below:
		return math.Max(0, measured-end.Measure)
	}
	return math.Max(0, end.Measure-measured)
}

// factsOf are those of a sample as it was reported.
func (o *Outlook) factsOf(s record.Step) *judge.Facts {
	x := o.view.FactsAt(o.comp, judge.SampleAt(&s))
	x.Reported = true
	return x
}

// measured is what a rule measures by the facts; ok is false where it cannot.
func (o *Outlook) measured(r *rules.Rule, x *judge.Facts) (end rules.End, ok bool) {
	got := o.view.Judge.Run(r, x)
	if len(got.Ends) == 0 {
		return rules.End{}, false
	}
	return got.Ends[0], true
}

// Offer is where an outlook would have the task that renews the fluid.
type Offer struct {
	Task  string
	Later bool // than it is due now
	Hours bool
	Life  float64 // where it is offered, as life distance or running hours
	// due is where the task stands now, at where it is offered, as the meter will
	// show; by is the difference.
	Due, At, By unit.Quantity
	Date        string // of the task's other limit, which stays; "" for none
}

// drainTask is the task that renews the component's fluid, by a meter: of several
// the one that is due first.
func (o *Outlook) drainTask() (first judge.Due, ok bool) {
	least := math.Inf(1)
	v := o.view
	for _, at := range v.Applied().Rules.Tasks {
		if at.Component != o.comp || !renews(at.Task) {
			continue
		}
		d := v.Reckon(at, record.LastPlace, math.MaxInt64)
		v.PullIn(&d)
		if p := meterPoint(&d, o.Hours); !d.NoHistory && !d.Waiting && p < least {
			first, least, ok = d, p, true
		}
	}
	return first, ok
}

// renews reports whether the task changes a fluid whose interval a sample may move.
func renews(t *rules.Task) bool {
	fluid := func(n rules.Need) bool { return n.Fluid != "" }
	never := func(n rules.Need) bool { return fixedByTime(n.Fluid) }
	return !t.Statutory && t.Meter == "" && (t.Share > 0 || slices.ContainsFunc(t.Needs, fluid)) && !slices.ContainsFunc(t.Needs, never)
}

func meterPoint(d *judge.Due, hours bool) float64 {
	if hours {
		return d.Point.Hours
	}
	return d.Point.Distance
}

// meterInterval is the task's own interval and where it counts from, by that meter.
func meterInterval(d *judge.Due, hours bool) (every, from float64) {
	if hours {
		return d.Plan.Interval().Hours, d.CountsFrom(interval.ByHours).Hours
	}
	return d.Plan.Interval().Distance, d.CountsFrom(interval.ByDistance).Distance
}

// Offer is what the outlook offers, or why it offers no longer interval; neither where
// there is nothing to offer.
func (o *Outlook) Offer() (offered *Offer, none string) {
	d, ok := o.drainTask()
	if !ok || math.IsNaN(o.age) {
		return nil, ""
	}
	if c := o.view.Chain(o.comp, o.Hours); c != nil {
		if _, untold := c.UntoldSince(); untold {
			return nil, "the " + c.Name + " went back, so it is not known how far the fluid has run"
		}
	}
	every, from := meterInterval(&d, o.Hours)
	point, at := meterPoint(&d, o.Hours), o.reaches()
	at = math.Min(at, from+float64(every*Longest))
	if math.IsNaN(at) || math.Abs(at-point) < slight*every || at < point && o.Rule == nil {
		return nil, ""
	}
	if at > point {
		if none := o.notLonger(&d); none != "" {
			return nil, none
		}
	}
	return o.offered(&d, point, at), ""
}

// reaches is where the fluid reaches the age to drain at, as life distance or running hours: as it
// is now, which may be younger than the sample, drained since. NaN where not known.
func (o *Outlook) reaches() float64 {
	t := o.view.Timeline(o.comp)
	last := len(t.Lab) - 1
	ages, at := t.Lab.Ages(last), t.Lab[last].Distance
	now := ages.Distance
	if o.Hours {
		now, at = ages.Hours, t.Lab[last].Hours
	}
	return at + math.Max(o.drain-now, 0)
}

// notLonger is why the work is not offered later, though no limit is near.
func (o *Outlook) notLonger(d *judge.Due) string {
	v := o.view
	var missing []string
	for _, k := range agedBy {
		if o.seen&k.kind == 0 {
			missing = append(missing, k.name)
		}
	}
	worst, unjudged := 0, ""
	for _, ar := range v.Applied().Rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != o.comp {
			continue
		}
		l, _ := v.Rec.LatchOf(v.Key(ar.Rule.Name, o.comp))
		worst = max(worst, l.Stage)
		if len(l.Missing) > 0 && unjudged == "" {
			unjudged = ar.Rule.Name
		}
	}
	const longer = "no longer interval suggested: "
	switch {
	case d.PulledIn():
		return longer + "an alarm brings the work forward"
	case worst >= rules.Caution:
		return longer + "a " + string(alarm.RuleStages[worst]) + " is active"
	case len(missing) > 0:
		return longer + "needs three samples each with " + english.List("and", missing) + " checked"
	case unjudged != "":
		return fmt.Sprintf("%s%q could not judge this sample", longer, unjudged)
	}
	return ""
}

func (o *Outlook) offered(d *judge.Due, point, at float64) *Offer {
	v, hours := o.view, o.Hours
	round := 100.0
	if hours {
		round = 5
	}
	// People answer by round numbers, and what is rounded errs on the near side.
	shift := faceShift(v, d.Comp, hours)
	out := &Offer{Task: d.Task.Name, Later: at > point, Hours: hours}
	out.Due, out.At = *v.Quantity(point-shift, hours), *v.Quantity(at-shift, hours)
	out.At.Value = math.Floor(out.At.Value/round) * round
	base, _, _ := out.At.Base()
	out.Life = base + shift
	out.By = *v.Quantity(math.Abs(out.Life-point), hours)
	if d.Point.HasDate {
		out.Date = d.Point.Date.String()
	}
	return out
}

// faceShift is how far the life value lies over what the meter shows.
func faceShift(v *judge.View, comp int, hours bool) float64 {
	if c := v.Chain(comp, hours); c != nil {
		if p, ok := c.LastRead(math.MaxInt64); ok {
			return p.Life - p.Face
		}
	}
	return 0
}
