package judge

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/word"
)

// Judgement is a place at which a rule is judged: a sample, an accepted reading,
// a service or a tick.
type Judgement struct {
	Before record.Place
	At     int64 // readings up to this moment count
	ID     event.ID
	// Sampled says that it is a sample, and not what was reported or passed between two.
	Sampled bool
	// Clock is the tick by which it is judged, Unix nanoseconds; 0 where an event has it judged.
	Clock int64
}

// SampleAt is the place at which a sample is judged.
func SampleAt(s *record.Step) Judgement {
	return Judgement{Before: s.Place, At: max(s.At, s.Sample.At), ID: s.Sample.ID, Sampled: true}
}

// Step judges the rule at one place and moves the latch. It reports whether the rule
// could be judged.
func (v *View) Step(r *rules.Rule, comp int, l *latch.Latch, at Judgement) bool {
	if l.Missing = v.Applied().Rules.Lacking[applies.Rule{Rule: r, Component: comp}]; l.Missing != nil {
		return false
	}
	x := v.sharedFacts(comp, at)
	got := v.Judge.Run(r, x)
	l.Missing = got.Missing
	if len(got.Missing) > 0 {
		return false
	}
	since, masked := v.masked(r, x, l, at)
	sampled := at.Sampled || r.On&rules.OnSample == 0
	next, ok := l.Step(r, got.Ends, latch.Of{Masked: masked, Stated: x.stated, Counts: sampled})
	if !ok {
		l.Missing = []string{latch.Inexact}
		return false
	}
	next.Judged, next.Since, next.Missing = at.ID, since, append(next.Missing, latch.Unjudged(r, &next, got.Lacks)...)
	if next.Stage != l.Stage {
		next.Reached, next.ReachedAt, next.Since = at.ID, 0, 0
		next.Age = knownAges(x)
		if !at.Sampled {
			next.ReachedAt = cmp.Or(at.Clock, at.At)
		}
	}
	if next.Stage > l.Stage {
		next.Open(r, l.Stage, v.stood(x, at))
	}
	if r.On&rules.OnClock != 0 {
		next.Note(l, cmp.Or(at.Clock, at.Before.At), at.Clock != 0)
	}
	*l = next
	return true
}

// masked reports whether an exchange since the stage was reached hides what the alarm saw:
// a drain dilutes that, and while it does, the alarm may worsen but not ease. since counts
// the samples that were judged after it, this one too.
func (v *View) masked(r *rules.Rule, x *Facts, l *latch.Latch, at Judgement) (since int, masked bool) {
	if r.Below || !r.Masked || r.On&rules.OnSample == 0 || l.Stage == 0 {
		return 0, false
	}
	reached := v.Reached(x.steps.Steps, l)
	since = l.Since
	if at.Sampled && x.steps.Lab.Exchanged(reached) {
		since++
	}
	return since, lab.Masked(x.steps.Lab, reached, hidden(r, l), since)
}

// Reached is the step at which the latch's stage was reached, or the last one before that;
// -1 where that is kept no longer.
func (v *View) Reached(steps []record.Step, l *latch.Latch) int {
	for i := len(steps) - 1; i >= 0; i-- {
		if steps[i].ID() == l.Reached || l.ReachedAt != 0 && steps[i].At <= l.ReachedAt {
			return i
		}
	}
	return -1
}

// hidden is the age of which half must be run again: that of the rule, or of the fluid when
// the stage was reached; NaN where that is not known.
func hidden(r *rules.Rule, l *latch.Latch) lab.Ages {
	if r.MaskedFor != (rules.Limits{}) {
		return lab.Ages{Distance: 2 * r.MaskedFor.Distance, Hours: 2 * r.MaskedFor.Hours}
	}
	return lab.Ages{Distance: event.FromStored(l.Age[0]), Hours: event.FromStored(l.Age[1])}
}

func knownAges(x *Facts) [2]float64 {
	a := x.steps.Lab.Ages(len(x.steps.Lab) - 1)
	return [2]float64{event.ToStored(a.Distance), event.ToStored(a.Hours)}
}

// stood is where the vehicle stood at a judgement, for what it opens.
func (v *View) stood(x *Facts, at Judgement) latch.Opening {
	o := latch.Opening{By: at.ID, At: cmp.Or(at.Clock, at.At), Distance: -1, Hours: -1, Stated: x.stated}
	if value, _, ok := x.life(false); ok {
		o.Distance = value
	}
	if value, _, ok := x.life(true); ok {
		o.Hours = value
	}
	return o
}

// Walk makes the latch anew from all the places at which the rule is judged, and gives
// the last at which it could be.
func (v *View) Walk(r *rules.Rule, comp int, k alarm.Key) (l latch.Latch, last Judgement) {
	l.Key = k
	for _, at := range v.Judgements(r, comp) {
		if v.Step(r, comp, &l, at) {
			last = at
		}
	}
	return l, last
}

// Judgements lists the places at which the kept facts have the rule judged, in order.
func (v *View) Judgements(r *rules.Rule, comp int) []Judgement {
	var out []Judgement
	out = append(out, v.measurements(r)...)
	if r.On&rules.OnSample != 0 && comp >= 0 && !r.ByMeasures {
		for _, s := range v.Timeline(comp).Steps {
			if s.Sample != nil {
				out = append(out, SampleAt(&s))
			}
		}
	}
	if r.On&rules.OnReading != 0 {
		for _, c := range v.Rec.Chains() {
			for _, p := range c.Points {
				if p.Accepted {
					out = append(out, Judgement{Before: record.PlaceOf(p.At, event.ServiceEvent), At: p.At, ID: p.ID})
				}
			}
		}
	}
	if r.On&rules.OnService != 0 {
		for i := range v.Rec.Services {
			if s := &v.Rec.Services[i]; !s.Void {
				out = append(out, Judgement{Before: s.Stamp.Place(event.ServiceEvent), At: s.At, ID: s.ID})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Judgement) int { return a.Before.Compare(b.Before) })
	if r.On&rules.OnClock != 0 && !v.Now.IsZero() {
		out = append(out, Judgement{Before: record.LastPlace, At: math.MaxInt64, Clock: v.Now.UnixNano()})
	}
	return out
}

// Lists reports whether the service lists the task or one that contains it.
func (v *View) Lists(s *record.Service, task string) bool {
	t := v.Book.Task(task)
	return slices.Contains(s.Tasks, task) ||
		t != nil && slices.ContainsFunc(t.In, func(larger string) bool { return slices.Contains(s.Tasks, larger) })
}

// RuleWords fills in what a rule says of its last judgement.
func (v *View) RuleWords(t *alarm.Transition, ar applies.Rule, l latch.Latch, at Judgement, to int, causes []event.ID) {
	r, j := ar.Rule, v.Judge
	t.Title, t.Events = r.Title, causes
	if at.Before == (record.Place{}) {
		t.Message = noLonger(r)
		return
	}
	x := v.FactsAt(ar.Component, at)
	x.Reported = true // people see what the sheet says, not an end of what it leaves open
	if at.ID != (event.ID{}) {
		x.use(at.ID)
	}
	end, evidence, ok := j.Explain(r, x)
	if !ok {
		return
	}
	t.Evidence = evidence
	if to > 0 {
		t.Advise, t.Cautions, t.PointsTo = v.Advice(r, to, x, end.Measure), Cautions(r, to), r.PointsTo
		t.OwnCautions, t.Source = v.Book.Own(t.Cautions), r.SourceOf(to)
		t.FollowUps, t.PullsIn = latch.OpenedBy(l.Openings, at.ID), v.pullsNow(ar, &l, at.ID)
	}
	t.Message = v.Say(r, to, x, end.Measure)
	if says := x.standIn(r); says != "" {
		t.Message = english.Sentences(t.Message, says)
	}
	if to == 0 && !r.Measured {
		t.Message = noLonger(r)
	}
	if changed := v.ChangedSince(ar.Component, at.ID); changed != "" && to > 0 {
		t.Message = english.Sentences(t.Message, changed)
	}
	if r.Measured {
		m := end.Measure
		t.Measure = &m
	}
	for _, id := range t.Events {
		x.use(id)
	}
	t.Events = x.Used
}

// Say is what the rule says at a stage, for whoever reads.
func (v *View) Say(r *rules.Rule, stage int, x *Facts, measure float64) string {
	v.Judge.Reads(v.writer())
	return v.Judge.Say(r, stage, x, measure)
}

// Advice is what the rule advises. Where it reckons how many drains thin a wear
// metal, it says what that does not do.
func (v *View) Advice(r *rules.Rule, stage int, x *Facts, measure float64) string {
	v.Judge.Reads(v.writer())
	s := v.Judge.Advise(r, worded(r, stage), x, measure)
	for _, w := range []word.Word{word.ExchangesTo, word.LitresTo} {
		for _, a := range r.Asks(w) {
			if note := lab.DilutionNote(a); note != "" && !strings.Contains(s, note) {
				s = strings.TrimSpace(s + " " + note)
			}
		}
	}
	return s
}

// worded is the stage whose words a stage takes: its own, or where a rule is held to
// an advisory that it does not have, its mildest.
func worded(r *rules.Rule, stage int) int {
	for s := stage; s <= rules.Warning; s++ {
		if r.Has[s] {
			return s
		}
	}
	return stage
}

// Cautions are what to mind at what the rule advises at a stage.
func Cautions(r *rules.Rule, stage int) []string { return r.Cautions[worded(r, stage)] }

// noLonger is what a pattern says when it clears: its own words speak of what holds.
func noLonger(r *rules.Rule) string {
	if r.Title != "" {
		return english.Capital(r.Title) + ": no longer"
	}
	return english.Capital(r.Name) + ": no longer"
}
