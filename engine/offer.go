package engine

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/interval"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/unit"
)

// A sample's forecast may offer another point for the work that renews the fluid:
// sooner where a limit is reached before it, later where everything that wears a
// fluid out is known and allows it. It is an offer: the point moves when a person
// accepts it, and by no other way.

// IntervalOffer is where a forecast would have a task.
type IntervalOffer struct {
	Task string `json:"task"`
	// Kind is sooner or later.
	Kind string `json:"kind"`
	// Due is where the task stands now, At where it is offered, as the meter will
	// show; By is the difference.
	Due  unit.Quantity `json:"due"`
	At   unit.Quantity `json:"at"`
	By   unit.Quantity `json:"by"`
	Says string        `json:"says"`

	life  float64 // At as life distance or running hours
	hours bool
}

const (
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
		switch a, _ := lab.Lookup(name); {
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

// drainTask is the task that renews the component's fluid, by a meter: of several
// the one that is due first.
func (v *verdictOf) drainTask(hours bool) (first due, ok bool) {
	least := math.Inf(1)
	for _, at := range v.f.applied().rules.Tasks {
		if at.Component != v.comp || !renews(at.Task) {
			continue
		}
		d := v.f.reckon(at, lastPlace, math.MaxInt64)
		v.f.pullIn(&d)
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

// offer finds what the outlook offers, or why it offers no more.
func (v *verdictOf) offer(o *outlook) {
	d, ok := v.drainTask(o.hours)
	if !ok || math.IsNaN(o.age) {
		return
	}
	every, from := d.meterInterval(o.hours)
	due, at := d.meterPoint(o.hours), v.reaches(o.drain, o.hours)
	at = math.Min(at, from+float64(every*longest))
	if math.IsNaN(at) || math.Abs(at-due) < slight*every {
		return
	}
	if at > due {
		if v.NoOffer = v.notLonger(o, &d); v.NoOffer != "" {
			return
		}
	}
	v.Offer = v.offered(&d, due, at, o)
}

// reaches is where the fluid reaches an age, as life distance or running hours: as it
// is now, which may be younger than the sample, drained since. NaN where not known.
func (v *verdictOf) reaches(age float64, hours bool) float64 {
	t := v.f.timeline(v.comp)
	last := len(t.lab) - 1
	ages, at := t.lab.Ages(last), t.lab[last].Distance
	now := ages.Distance
	if hours {
		now, at = ages.Hours, t.lab[last].Hours
	}
	return at + math.Max(age-now, 0)
}

// notLonger is why the work is not offered later, though no limit is near.
func (v *verdictOf) notLonger(o *outlook, d *due) string {
	var missing []string
	for _, k := range agedBy {
		if o.seen&k.kind == 0 {
			missing = append(missing, k.name)
		}
	}
	const longer = "a longer interval is not offered: "
	switch {
	case len(d.pulls) > 0:
		return longer + "an alarm asks for the work sooner"
	case v.Stage == "caution" || v.Stage == "warning":
		return longer + "a " + v.Stage + " stands"
	case len(missing) > 0:
		return longer + "at least three samples must have been judged by a rule on each of " + strings.Join(missing, ", ")
	}
	for _, u := range v.NotJudged {
		return fmt.Sprintf("%s%q could not judge this sample", longer, u.Rule)
	}
	return ""
}

func (v *verdictOf) offered(d *due, due, at float64, o *outlook) *IntervalOffer {
	out := &IntervalOffer{Task: d.task.Name, Kind: "sooner", hours: o.hours}
	if at > due {
		out.Kind = "later"
	}
	round := 100.0
	if o.hours {
		round = 5
	}
	// People answer by round numbers, and what is rounded errs on the near side.
	shift := v.faceShift(d.comp, o.hours)
	quantity := func(life float64) unit.Quantity {
		value, u := v.f.shown(life, o.hours)
		return unit.Quantity{Value: value, Unit: u}
	}
	out.Due, out.At = quantity(due-shift), quantity(at-shift)
	out.At.Value = math.Floor(out.At.Value/round) * round
	base, _, _ := out.At.Base()
	out.life = base + shift
	out.By = quantity(math.Abs(out.life - due))
	out.Says = out.words(v.f.words(d.point), o)
	return out
}

// faceShift is how far the life value lies over what the meter shows.
func (v *verdictOf) faceShift(comp int, hours bool) float64 {
	if c := v.f.rec.chainFor(v.f.applied().reg, v.f.def(comp), hours); c != nil {
		if p, ok := c.last(math.MaxInt64); ok {
			return p.life - p.face
		}
	}
	return 0
}

// words are the other limit of the task, which no offer moves: "" for none.
func (f *view) words(p interval.Point) string {
	if p.HasDate {
		return p.Date.String()
	}
	return ""
}

func (o *IntervalOffer) words(date string, f *outlook) string {
	s := fmt.Sprintf("do %q at %s, %s %s than it is due now, at %s", o.Task, quantityWords(&o.At), quantityWords(&o.By), o.Kind, quantityWords(&o.Due))
	if o.Kind == "later" {
		s += fmt.Sprintf("; wear, additives, viscosity and contamination allow it (a tenth in reserve, at most %g times the task's interval and %d times the greatest age sampled)", longest, mostSeen)
	}
	if date != "" {
		s += "; its date of " + date + " stays"
	}
	s += ". Nothing moves until a person accepts it"
	if f.VerdictForecast != nil && o.Kind == "sooner" && f.metal {
		s += ". A drain dilutes the metal and cures nothing: what wears goes on wearing"
	}
	return s + "."
}

// accept moves a task to where the latest sample's forecast offers it.
func (f *fold) accept(s Stamp, d *AnswerData) error {
	why := "no forecast of a sample offers another point for it"
	for comp, def := range f.registeredComponents() {
		if d.Component != "" && d.Component != def.Name {
			continue
		}
		f.rec.ensureChains()
		switch v, ok := f.readSample(comp); {
		case !ok:
		case v.Offer != nil && v.Offer.Task == d.Task:
			p := Postponed{Stamp: s, AnswerData: d, To: v.Offer.life, ByHours: v.Offer.hours}
			f.rec.Postponed = latest(insert(f.rec.Postponed, p), keptPostponed)
			f.change.Fact = true
			return nil
		case v.NoOffer != "":
			why = v.NoOffer
		}
	}
	return Refuse("nothing to accept for %q: %s", d.Task, why)
}

// registeredComponents are those of a vehicle that rules apply to.
func (f *view) registeredComponents() []ComponentDef {
	if reg := f.rec.registered(); reg == nil || reg.Retired || f.Book == nil {
		return nil
	}
	return f.applied().reg.Components
}

// accepted puts the point where a person accepted it. The other limits stay.
func (d *due) accepted(p *Postponed) {
	if p.ByHours {
		d.point.Hours = p.To
	} else {
		d.point.Distance = p.To
	}
}

func acceptedBy(p *Postponed) string {
	s := "put where the forecast of a sample has it, accepted by " + p.By
	if p.Why != "" {
		s += ": " + p.Why
	}
	return s
}
