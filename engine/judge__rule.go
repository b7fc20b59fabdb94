package engine

import (
	"math"
	"slices"
	"telltale/engine/lab"
	"telltale/rules"
)

// judgement is a place at which a rule is judged: a sample, an accepted reading,
// a service or a tick.
type judgement struct {
	before place
	at     int64 // readings up to this moment count
	id     ID
}

// step judges the rule at one place and moves the latch. It reports whether the rule
// could be judged.
func (f *view) step(r *rules.Rule, comp int, l *Latch, at judgement) bool {
	x := f.sharedFacts(comp, at.before, at.at)
	got := f.Judge.Run(r, x)
	l.Missing = got.Missing
	if len(got.Missing) > 0 {
		return false
	}
	masked := r.Measured && !r.Below && r.Masked && r.On&rules.OnSample != 0 && l.Stage > 0 && f.masked(x, l)
	next, ok := l.Step(r, got.Ends, masked, x.stated)
	if !ok {
		l.Missing = []string{"the exact value of a result below its limit"}
		return false
	}
	next.Judged = at.id
	if next.Stage != l.Stage {
		next.Reached = at.id
		next.Age = knownAges(x)
	}
	if next.Stage > l.Stage {
		next.open(r, l.Stage, f.stood(x, at))
	}
	*l = next
	return true
}

// masked reports whether an exchange since the stage was reached hides what the
// alarm saw.
func (f *view) masked(x *facts, l *Latch) bool {
	reached := slices.IndexFunc(x.steps.steps, func(s step) bool { return s.id() == l.Reached })
	return lab.Masked(x.steps.lab, reached, lab.Ages{Distance: fromStored(l.Age[0]), Hours: fromStored(l.Age[1])})
}

func knownAges(x *facts) [2]float64 {
	a := x.steps.lab.Ages(len(x.steps.lab) - 1)
	return [2]float64{toStored(a.Distance), toStored(a.Hours)}
}

// stood is where the vehicle stood at a judgement, for what it opens.
func (f *view) stood(x *facts, at judgement) Opening {
	o := Opening{By: at.id, At: at.at, Distance: -1, Hours: -1, Stated: x.stated}
	if at.at == math.MaxInt64 { // judged by the clock
		o.At = f.Now.UnixNano()
	}
	if v, _, ok := x.life(false); ok {
		o.Distance = v
	}
	if v, _, ok := x.life(true); ok {
		o.Hours = v
	}
	return o
}

// walk makes the latch anew from all the places at which the rule is judged, and gives
// the last at which it could be.
func (f *view) walk(r *rules.Rule, comp int, k AlarmKey) (l Latch, last judgement) {
	l.AlarmKey = k
	for _, at := range f.judgements(r, comp) {
		if f.step(r, comp, &l, at) {
			last = at
		}
	}
	return l, last
}

// judgements lists the places at which the kept facts have the rule judged, in order.
func (f *view) judgements(r *rules.Rule, comp int) []judgement {
	var out []judgement
	if r.On&rules.OnSample != 0 && comp >= 0 {
		for _, s := range f.timeline(comp).steps {
			if s.sample != nil {
				out = append(out, judgement{s.place, max(s.at, s.sample.At), s.sample.ID})
			}
		}
	}
	if r.On&rules.OnReading != 0 {
		for _, c := range f.rec.allChains() {
			for _, p := range c.points {
				if p.accepted {
					out = append(out, judgement{place{p.at, uint8(ServiceEvent)}, p.at, p.id})
				}
			}
		}
	}
	if r.On&rules.OnService != 0 {
		for i := range f.rec.Services {
			if s := &f.rec.Services[i]; !s.Void {
				out = append(out, judgement{s.Stamp.place(ServiceEvent), s.At, s.ID})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b judgement) int { return a.before.compare(b.before) })
	if r.On&rules.OnClock != 0 && !f.Now.IsZero() {
		out = append(out, judgement{lastPlace, math.MaxInt64, ID{}})
	}
	return out
}

// lists reports whether the service lists the task or one that contains it.
func (f *view) lists(s *Service, task string) bool {
	t := f.task(task)
	return slices.Contains(s.Tasks, task) ||
		t != nil && slices.ContainsFunc(t.In, func(larger string) bool { return slices.Contains(s.Tasks, larger) })
}
