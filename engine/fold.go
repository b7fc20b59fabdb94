package engine

import (
	"fmt"
	"math"
	"slices"

	"telltale/rules"
)

// fold is one event on its way into one record.
type fold struct {
	view   // of a copy of the record; as it was it stays whole
	p      *Partition
	ev     Event
	change Change
	moves  []alarmMove
	// ownLatches: the record's latches were copied for this fold and may be changed.
	ownLatches bool
	out        []Output
	// whole: all that stands was judged, and these are the tasks.
	whole  bool
	judged []judgedTask
	quiet  *quiet // the bounds drawn after it; nil where there are none
}

// apply folds the event into the record; an error is a refusal.
func (f *fold) apply() error {
	if !f.ev.Kind.Internal() {
		if known, err := f.rec.Known(&f.ev); known || err != nil {
			return err
		}
	}
	f.endShelves()
	if err := f.take(); err != nil {
		return err
	}
	f.judge()
	f.flush()
	f.settle()
	return nil
}

// take puts the event's fact into the record, does what a person said, and tells what
// of the event is not used.
func (f *fold) take() error {
	c, err := f.rec.Take(&f.ev)
	if err != nil {
		return err
	}
	c.All = c.All || f.change.All
	f.change = c
	if c.TookOut {
		f.kept = nil
	}
	switch d := f.ev.Data.(type) {
	case *VehicleData:
		f.kept = nil
		f.compareWaiting()
	case *ServiceData:
		f.noteService(d)
		f.noteExchange(d)
	case *SampleData:
		i := slices.IndexFunc(f.rec.Samples, func(s Sample) bool { return s.ID == f.ev.ID })
		if i >= 0 { // it may be older than all that are kept
			f.compareWithFleet(&f.rec.Samples[i])
		}
		f.noteSample(d)
	case *AnswerData:
		return f.takeAnswer(d)
	case *VoidData:
		if c.Answer != (ID{}) {
			f.unanswer(c.Answer)
		}
	}
	return nil
}

// noteSample tells what in the event's sample is not used, and why, as refusals of
// that part.
func (f *fold) noteSample(d *SampleData) {
	reg := f.rec.registered()
	if reg == nil || reg.component(d.Component) == nil {
		return
	}
	i := slices.IndexFunc(reg.Components, func(c ComponentDef) bool { return c.Name == d.Component })
	var t timeline
	if f.Book == nil {
		t = f.rec.timeline(reg, &reg.Components[i], nil)
	} else {
		t = f.timeline(i)
	}
	for i := range t.steps {
		if !t.steps[i].of(f.ev.ID) {
			continue
		}
		for _, why := range sampleNotes(reg, t, i) {
			f.note(fmt.Errorf("sample %s of %s: %s", d.Number, d.Component, why))
		}
	}
}

// note tells of a part of the event that is not used though the event is.
func (f *fold) note(why error) {
	r := f.p.refused(f.ev, why)
	r.Kept = true
	f.out = append(f.out, Output{Refused: r})
}

// noteService tells which tasks of the event's service the book in force does not
// know, as refusals of that part: the work is kept, and settles nothing.
func (f *fold) noteService(d *ServiceData) {
	if f.Book == nil {
		return
	}
	for _, name := range d.Tasks {
		if !f.knowsTask(name) {
			f.note(fmt.Errorf("the work is kept, but no task or follow-up of the rules in force is called %q", name))
		}
	}
}

// anew reports whether a rule on that component must walk its history again: a
// fact came before something that was judged.
func (f *fold) anew(comp int) bool {
	if f.change.All {
		return true
	}
	if !f.change.Fact || comp < 0 {
		return f.change.Fact && f.rec.lateFact(&f.ev)
	}
	t := f.timeline(comp)
	i := t.lastSample()
	if f.change.Again && f.change.Sample == f.componentName(comp) {
		return true
	}
	if i < 0 || t.steps[i].sample.ID == f.ev.ID {
		return false
	}
	return f.change.Place.compare(t.steps[i].place) <= 0
}

// newJudgement is the place at which the event has a rule judged, if it does and
// the rule need not walk again.
func (f *fold) newJudgement(ar rules.AppliedRule) (judgement, bool) {
	r, c := ar.Rule, f.change
	switch {
	case f.ev.Kind == TickEvent && r.On&rules.OnClock != 0:
		return judgement{lastPlace, math.MaxInt64, ID{}}, true
	case !c.Fact:
		return judgement{}, false
	case c.Sample != "" && r.On&rules.OnSample != 0 && c.Sample == f.componentName(ar.Component):
		t := f.timeline(ar.Component)
		if i := t.lastSample(); i >= 0 && t.steps[i].sample.ID == f.ev.ID {
			return judgement{t.steps[i].place, max(t.steps[i].at, f.ev.Time.UnixNano()), f.ev.ID}, true
		}
	case c.Reading && r.On&rules.OnReading != 0 && f.rec.acceptedReading(&f.ev),
		c.Service != nil && r.On&rules.OnService != 0:
		return judgement{place{f.ev.Time.UnixNano(), uint8(ServiceEvent)}, f.ev.Time.UnixNano(), f.ev.ID}, true
	}
	return judgement{}, false
}

func (f *view) componentName(comp int) string {
	if comp < 0 {
		return ""
	}
	return f.applied().reg.Components[comp].Name
}

func (f *view) timeline(comp int) timeline {
	a := f.applied()
	if f.lines == nil {
		f.lines = make([]madeLine, len(a.reg.Components))
	}
	l := &f.lines[comp]
	if !l.made {
		stated := func(s *Service) float64 { return f.statedShare(s, comp) }
		l.timeline, l.made = f.rec.timeline(a.reg, &a.reg.Components[comp], stated), true
	}
	return l.timeline
}

// madeLine is a component's timeline once it was asked for.
type madeLine struct {
	timeline
	made bool
}

// causeIDs is the identity of the event that is folded; a tick has none.
func (f *fold) causeIDs() []ID {
	if f.ev.Kind.Internal() {
		return nil
	}
	return []ID{f.ev.ID}
}

// bookHash names the book in force; "" before the first.
func (l *law) bookHash() string {
	if l.Book == nil {
		return ""
	}
	return l.Book.Hash
}

func (f *fold) say(t *Transition) { f.out = append(f.out, Output{Transition: t}) }

func (f *fold) move(m alarmMove) { f.moves = append(f.moves, m) }

func (f *fold) notJudged(k AlarmKey, l Latch) {
	n := &NotJudged{Time: f.when, Vehicle: f.rec.Vehicle, Component: k.Component, Rule: k.Rule,
		Transition: notJudgedAs, Missing: l.Missing, Events: f.causeIDs()}
	f.out = append(f.out, Output{NotJudged: n})
}

// flush turns the alarms that the judgements ask for, in order of name.
func (f *fold) flush() {
	slices.SortStableFunc(f.moves, func(a, b alarmMove) int { return a.AlarmKey.compare(b.AlarmKey) })
	for _, m := range f.moves {
		if t := f.turn(m); t != nil {
			f.say(t)
		}
	}
}
