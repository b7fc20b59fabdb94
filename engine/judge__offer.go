package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/unit"
)

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
