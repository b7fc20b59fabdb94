package judge

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/unit"
)

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
func (v *View) drainTask(comp int, hours bool) (first Due, ok bool) {
	least := math.Inf(1)
	for _, at := range v.Applied().Rules.Tasks {
		if at.Component != comp || !renews(at.Task) {
			continue
		}
		d := v.Reckon(at, record.LastPlace, math.MaxInt64)
		v.PullIn(&d)
		if p := d.meterPoint(hours); !d.NoHistory && !d.Waiting && p < least {
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

func (d *Due) meterPoint(hours bool) float64 {
	if hours {
		return d.Point.Hours
	}
	return d.Point.Distance
}

// meterInterval is the task's own interval and where it counts from, by that meter.
func (d *Due) meterInterval(hours bool) (every, from float64) {
	if hours {
		return d.Plan.Interval().Hours, d.CountsFrom(interval.ByHours).Hours
	}
	return d.Plan.Interval().Distance, d.CountsFrom(interval.ByDistance).Distance
}

// Offer is what the outlook offers, or why it offers no longer interval; neither where
// there is nothing to offer.
func (v *View) Offer(comp int, o *Outlook) (offered *Offer, none string) {
	d, ok := v.drainTask(comp, o.Hours)
	if !ok || math.IsNaN(o.age) {
		return nil, ""
	}
	every, from := d.meterInterval(o.Hours)
	point, at := d.meterPoint(o.Hours), v.reaches(comp, o.drain, o.Hours)
	at = math.Min(at, from+float64(every*Longest))
	if math.IsNaN(at) || math.Abs(at-point) < slight*every {
		return nil, ""
	}
	if at > point {
		if none := v.notLonger(comp, o, &d); none != "" {
			return nil, none
		}
	}
	return v.offered(&d, point, at, o.Hours), ""
}

// reaches is where the fluid reaches an age, as life distance or running hours: as it
// is now, which may be younger than the sample, drained since. NaN where not known.
func (v *View) reaches(comp int, age float64, hours bool) float64 {
	t := v.Timeline(comp)
	last := len(t.Lab) - 1
	ages, at := t.Lab.Ages(last), t.Lab[last].Distance
	now := ages.Distance
	if hours {
		now, at = ages.Hours, t.Lab[last].Hours
	}
	return at + math.Max(age-now, 0)
}

// notLonger is why the work is not offered later, though no limit is near.
func (v *View) notLonger(comp int, o *Outlook, d *Due) string {
	var missing []string
	for _, k := range agedBy {
		if o.seen&k.kind == 0 {
			missing = append(missing, k.name)
		}
	}
	worst, unjudged := 0, ""
	for _, ar := range v.Applied().Rules.Rules {
		if ar.Rule.On&rules.OnSample == 0 || ar.Component != comp {
			continue
		}
		l, _ := v.Rec.LatchOf(v.Key(ar.Rule.Name, comp))
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
		return longer + "a " + alarm.RuleStages[worst] + " stands"
	case len(missing) > 0:
		return longer + "at least three samples must have been judged by a rule on each of " + strings.Join(missing, ", ")
	case unjudged != "":
		return fmt.Sprintf("%s%q could not judge this sample", longer, unjudged)
	}
	return ""
}

func (v *View) offered(d *Due, point, at float64, hours bool) *Offer {
	round := 100.0
	if hours {
		round = 5
	}
	// People answer by round numbers, and what is rounded errs on the near side.
	shift := v.faceShift(d.Comp, hours)
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
func (v *View) faceShift(comp int, hours bool) float64 {
	if c := v.Chain(comp, hours); c != nil {
		if p, ok := c.Last(math.MaxInt64); ok {
			return p.Life - p.Face
		}
	}
	return 0
}
