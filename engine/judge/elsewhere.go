package judge

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// What a rule asks of another component, of another rule and of a meter by its name.

// elsewhere are the facts of another component of the vehicle, by its name or else its
// kind, as the record stood at the same place.
func (x *Facts) elsewhere(name string) (*Facts, string, bool) {
	var named []int
	comps := x.v.Applied().Comps
	for i := range comps {
		if comps[i].Name == name {
			named = []int{i}
			break
		}
		if slices.Contains(word.Names(name), comps[i].Kind) {
			named = append(named, i)
		}
	}
	switch len(named) {
	case 0:
		return nil, "a component " + strconv.Quote(name), false
	case 1:
	default:
		var all []string
		for _, i := range named {
			all = append(all, comps[i].Name)
		}
		return nil, fmt.Sprintf("one component of the kind %q: there are %s", name, english.List("and", all)), false
	}
	y := x.others[named[0]]
	if y == nil {
		y = x.v.FactsAt(named[0], Judgement{Before: x.before, At: x.at, Clock: x.place.Clock})
		y.top = x
		if x.others == nil {
			x.others = map[int]*Facts{}
		}
		x.others[named[0]] = y
	}
	return y, "", true
}

// asked is the facts that a word's argument is asked of, and what of the argument they know.
func (x *Facts) asked(arg string) (y *Facts, analyte, missing string, ok bool) {
	analyte, component := word.Elsewhere(arg)
	if component == "" {
		return x, arg, "", true
	}
	if y, missing, ok = x.elsewhere(component); !ok {
		return x, arg, missing, false
	}
	return y, analyte, "", true
}

// lacks says of another component's facts whose they are.
func (x *Facts) lacks(missing string, ok bool) string {
	if ok || x.top == nil {
		return missing
	}
	return missing + " of the " + x.comp.Name
}

// root are the facts that the rule itself asks.
func (x *Facts) root() *Facts { return cmp.Or(x.top, x) }

// stood is the stage of a rule from a place on.
type stood struct {
	record.Place
	stage   int
	reached event.ID
}

// history is how a rule stood after each place at which it could be judged. It is reckoned
// from the facts, so that it is the same whenever somebody asks and in whichever order the
// facts came.
func (v *View) history(ar applies.Rule) []stood {
	key := v.Key(ar.Rule.Name, ar.Component)
	if list, known := v.stages[key]; known {
		return list
	}
	inner, list := v.apart(), []stood{}
	l := latch.Latch{Key: key}
	for _, at := range inner.Judgements(ar.Rule, ar.Component) {
		if at.At != math.MaxInt64 && inner.Step(ar.Rule, ar.Component, &l, at) {
			list = append(list, stood{at.Before, l.Stage, l.Reached})
		}
	}
	if v.stages == nil {
		v.stages = map[alarm.Key][]stood{}
	}
	v.stages[key] = list
	return list
}

// apart is a view of the same record to judge another rule in: the one that asks has the
// judges of this view busy.
func (v *View) apart() *View {
	if v.inner == nil {
		law := *v.Law
		law.Judge, law.Shorten = rules.NewJudge(v.Book), rules.NewJudge(v.Book)
		v.inner = NewView(&law, *v.Rec, v.Kept)
		v.inner.When = v.When
	}
	v.inner.Rec.Latches = v.Rec.Latches
	return v.inner
}

// atTick is how a rule by the clock stands after a tick, from how it stood before: its own
// past ticks are no facts, and it was brought up to date before those that ask of it.
func (v *View) atTick(ar applies.Rule, l *latch.Latch, tick Judgement) (stage int, by event.ID, judged bool) {
	then, _, _ := l.Before(tick.Clock)
	judged = v.apart().Step(ar.Rule, ar.Component, &then, tick)
	return then.Stage, then.Reached, judged
}

// stage is how bad the other rule's alarm is at the place of the facts: on the component, or
// where the rule does not apply to it on any, the worst.
func (x *Facts) stage(name string) (float64, string, bool) {
	var applied []applies.Rule
	for _, ar := range x.v.Applied().Rules.Rules {
		if ar.Rule.Name == name || slices.Contains(ar.Rule.Over, name) {
			applied = append(applied, ar)
		}
	}
	if i := slices.IndexFunc(applied, func(ar applies.Rule) bool { return ar.Component == x.of }); i >= 0 {
		applied = applied[i : i+1]
	}
	worst, judged := 0, false
	for _, ar := range applied {
		stage, by, ok := x.stood(ar)
		judged = judged || ok
		if stage > worst {
			worst = stage
			x.use(by)
		}
	}
	switch {
	case len(applied) == 0:
		return 0, fmt.Sprintf("the rule %q on this vehicle", name), false
	case !judged:
		return 0, fmt.Sprintf("a judgement of the rule %q", name), false
	}
	return float64(worst), "", true
}

// stood is how the other rule stands: now by its alarm, at an earlier place by the facts.
func (x *Facts) stood(ar applies.Rule) (stage int, by event.ID, judged bool) {
	l, ok := x.v.Rec.LatchOf(x.v.Key(ar.Rule.Name, ar.Component))
	switch {
	case ok && ar.Rule.On&rules.OnClock != 0 && x.place.Clock != 0:
		return x.v.atTick(ar, &l, x.place)
	case x.before == record.LastPlace:
		return l.Stage, l.Reached, l.Judged != (event.ID{})
	}
	list := x.v.history(ar)
	n, _ := slices.BinarySearchFunc(list, x.before, func(s stood, at record.Place) int {
		if s.Place.Compare(at) <= 0 {
			return -1
		}
		return 1
	})
	if n == 0 {
		return 0, event.ID{}, false
	}
	return list[n-1].stage, list[n-1].reached, true
}

func (x *Facts) stands(name string) (bool, string, bool) {
	stage, missing, ok := x.stage(name)
	return stage > 0, missing, ok
}

// stageNote names the stage.
func (x *Facts) stageNote(_ word.Word, name string) string {
	stage, _, ok := x.stage(name)
	if !ok {
		return ""
	}
	return rules.StageNames[int(stage)]
}

// named is the meter of that name; why says what is missing.
func (x *Facts) named(meter string, hours bool) (c *record.Chain, why string) {
	c = x.v.Rec.Chain(meter)
	switch {
	case c == nil:
		return nil, "a reading of the " + meter
	case c.Hours != hours && hours:
		return nil, "a meter " + strconv.Quote(meter) + " that counts hours"
	case c.Hours != hours:
		return nil, "a meter " + strconv.Quote(meter) + " that counts a distance"
	}
	return c, ""
}

// reads answers from a meter by its name.
func reads(hours bool) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, meter string) (float64, string, bool) {
		c, why := x.named(meter, hours)
		if c == nil {
			return 0, why, false
		}
		return x.lifeOn(c, why)
	}
}

// hoursPerDay is the usual running time in a day, in seconds.
func (x *Facts) hoursPerDay(meter string) (float64, string, bool) {
	c, why := x.named(meter, true)
	if c == nil {
		return 0, why, false
	}
	return x.usage(c)
}

// The least run by which topping up is told, since what tops the level up after a change
// tells nothing of what is consumed. Common practice, no source.
const (
	leastRun  = 1_000_000 // metres
	leastTime = 20 * 3600
)

// toppedUp is what was topped up for each metre or second of running since the last change
// of the fluid, litres.
func toppedUp(per unit.Kind) func(*Facts, string) (float64, string, bool) {
	return func(x *Facts, _ string) (float64, string, bool) {
		litres, since, ok := x.v.Timeline(x.of).Consumed(x.before)
		if !ok {
			return 0, "a fluid change, or two times of topping up", false
		}
		from, least, enough := since.Distance, float64(leastRun), "enough distance since the fluid change"
		if per == unit.Time {
			from, least, enough = since.Hours, leastTime, "enough running time since the fluid change"
		}
		now, missing, ok := x.life(per == unit.Time)
		switch run := now - from; {
		case !ok:
			return 0, missing, false
		case math.IsNaN(run):
			return 0, "a reading at the fluid change", false
		case run < least:
			return 0, enough, false
		default:
			return litres / run, "", true
		}
	}
}

// consumedNote says how much was topped up in all.
func (x *Facts) consumedNote(word.Word, string) string {
	litres, _, ok := x.v.Timeline(x.of).Consumed(x.before)
	if !ok {
		return ""
	}
	return x.v.Litres(litres) + " in all since the fluid change"
}
