package engine

import (
	"fmt"
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

// noteExchange asks where the share that was renewed cannot well be: a drain of an
// automatic transmission leaves the converter full, so that people who enter the
// refill of the pan as the capacity are told so, and no component takes more than it
// holds. The work is kept as it was told.
func (f *fold) noteExchange(d *ServiceData) {
	reg := f.rec.registered()
	if d.Fluid == nil || d.Fluid.Flush || reg == nil {
		return
	}
	for i := range reg.Components {
		c := &reg.Components[i]
		if why := oddShare(d.Fluid, c); why != "" && exchanges(&Service{ServiceData: d}, reg, c) {
			f.note(fmt.Errorf("the work is kept, but %s", why))
		}
	}
}

// causeIDs is the identity of the event that is folded; a tick has none.
func (f *fold) causeIDs() []ID {
	if f.ev.Kind.Internal() {
		return nil
	}
	return []ID{f.ev.ID}
}

func (f *fold) say(t *Transition) { f.out = append(f.out, Output{Transition: t}) }

func (f *fold) notJudged(k AlarmKey, l Latch) {
	n := &NotJudged{Time: f.when, Vehicle: f.rec.Vehicle, Component: k.Component, Rule: k.Rule,
		Transition: notJudgedAs, Missing: l.Missing, Events: f.causeIDs()}
	f.out = append(f.out, Output{NotJudged: n})
}

// compareWithFleet notes what the baselines in force say of a sample that arrives.
func (f *fold) compareWithFleet(s *Sample) {
	if f.p.fleet.Hash == "" || f.Book == nil {
		return
	}
	if f.rec.registered() == nil {
		s.Fleet = f.p.fleet.waiting()
		return
	}
	a := f.applied()
	i := slices.IndexFunc(a.comps, func(c rules.Component) bool { return c.Name == s.Component })
	if i >= 0 {
		s.Fleet = f.p.fleet.figures(a.rules.Baselines[i], &a.vehicle, &a.comps[i], s.sheet().results)
	} else if f.p.fleet.Set == nil {
		s.Fleet = f.p.fleet.gone()
	}
}

// compareWaiting compares the samples of a vehicle that was not registered when
// they arrived, as long as the set that was in force then still is.
func (f *fold) compareWaiting() {
	waits := func(s Sample) bool { return s.Fleet != nil && s.Fleet.Waits }
	if f.rec.registered() == nil || !slices.ContainsFunc(f.rec.Samples, waits) {
		return
	}
	f.rec.Samples = slices.Clone(f.rec.Samples)
	for i := range f.rec.Samples {
		s := &f.rec.Samples[i]
		if !waits(*s) {
			continue
		}
		arrived := s.Fleet.Set
		if s.Fleet = nil; arrived == f.p.fleet.Hash {
			f.compareWithFleet(s)
		}
	}
}
