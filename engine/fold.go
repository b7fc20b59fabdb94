package engine

import (
	"fmt"
	"math"
	"slices"

	"telltale/rules"
	"telltale/rules/unit"
)

// fold is one event on its way into one record.
type fold struct {
	view // of a copy of the record; as it was it stays whole
	p    *Partition
	ev   Event
	// resting: the event takes a fact out, so an alarm that goes is withdrawn.
	resting bool
	change  change
	moves   []move
	// ownLatches: the record's latches were copied for this fold and may be changed.
	ownLatches bool
	out        []Output
	// whole: all that stands was judged, and these are the tasks.
	whole  bool
	judged []judgedTask
	quiet  *quiet // the bounds drawn after it; nil where there are none
}

// change is what an event did to the facts.
type change struct {
	// all: what was judged before may have come out otherwise, so every rule walks
	// its history again.
	all bool
	// fact: there is a new fact at that place; rules whose judgements it comes
	// before walk again.
	fact  bool
	place place
	// What of it can bring a rule to judge: a sample of a component, an accepted
	// reading, a service, the clock.
	sample  string
	again   bool // it replaces an earlier one, or is another analysis of it
	reading bool
	service *Service
	clock   bool
}

// refusal is an event that cannot be used.
type refusal string

func (r refusal) Error() string { return string(r) }

func refuse(format string, args ...any) error { return refusal(fmt.Sprintf(format, args...)) }

// apply folds the event into the record; an error is a refusal.
func (f *fold) apply() error {
	if !f.ev.Kind.Internal() {
		switch s := f.rec.seen(f.ev.ID); {
		case s != nil && s.Digest == f.ev.Digest:
			return nil // the same again
		case s != nil:
			return refuse("conflict: an event %s of %s with other content was folded before", f.ev.ID.ID, f.ev.ID.Source)
		}
	}
	f.endShelves()
	f.rec.ensureChains() // to see what the event changes in them
	if err := f.take(); err != nil {
		return err
	}
	f.judge()
	f.flush()
	f.settle()
	return nil
}

// take puts the event's fact into the record and notes what that changes.
func (f *fold) take() error {
	s := newStamp(f.ev)
	s.Void = f.rec.voided(s.ID)
	f.change.fact, f.change.place = !s.Void, s.place(f.ev.Kind)
	switch d := f.ev.Data.(type) {
	case *VehicleData:
		f.rec.Register = latest(insert(f.rec.Register, Registration{s, f.p.alike.registration(d)}), keptRegister)
		f.kept, f.change.all = nil, true
		f.compareWaiting()
	case *ReadingData:
		return f.takeReading(s, d)
	case *MeterReplacedData:
		return f.takeReplaced(s, d)
	case *ServiceData:
		return f.takeService(s, d)
	case *SampleData:
		return f.takeSample(s, d)
	case *AnswerData:
		return f.takeAnswer(s, d)
	case *VoidData:
		return f.takeVoid(s, ID(*d))
	}
	return nil
}

// meterFor checks a meter value against the register and returns it in base units.
func (f *fold) meterFor(name string, q unit.Quantity) (v float64, hours bool, err error) {
	v, kind, err := q.Base()
	if err != nil {
		return 0, false, refuse("meter %s: %v", name, err)
	}
	reg := f.rec.registered()
	if reg == nil {
		reg = &VehicleData{}
	}
	hours, ok := reg.meterKind(name, kind)
	switch {
	case !ok:
		return 0, false, refuse("vehicle %s has no meter %q", f.rec.Vehicle, name)
	case hours != (kind == unit.Time):
		return 0, false, refuse("meter %s: %s is %s, which it does not count", name, q, kind)
	}
	if len(f.rec.Meters) >= keptMeters && f.rec.chain(name) == nil {
		return 0, false, refuse("vehicle %s has %d meters already", f.rec.Vehicle, keptMeters)
	}
	return v, hours, nil
}

func (f *fold) takeReading(s Stamp, d *ReadingData) error {
	v, hours, err := f.meterFor(d.Meter, unit.Quantity{Value: d.Value, Unit: d.Unit})
	if err != nil {
		return err
	}
	i := f.rec.meter(d.Meter, hours)
	m, reading := &f.rec.Meters[i], Reading{Stamp: s, Value: v}
	m.makeRoom()
	m.Readings = insert(m.Readings, reading)
	whole := len(m.Readings) <= thinAt
	if !whole {
		m.Readings = thin(m.Readings)
	}
	if s.Void {
		return nil
	}
	// Where work stands on the reading before it, this one may thin that one out: the
	// chain is then made anew, as it would be from the stored record.
	if c := f.rec.chainIfMade(d.Meter); whole && c != nil && c.healthy && !f.rec.estimates(c) && c.appends(reading) {
		f.change.reading = true
		return nil
	}
	f.rechain()
	return nil
}

// rechain derives the chains anew. Where a verdict on an earlier reading changed,
// or one that something rests on is kept no longer, all is judged again.
func (f *fold) rechain() {
	before := f.rec.chains
	f.rec.chains = nil
	f.rec.ensureChains()
	f.change.reading = true
	for i := range before {
		after := f.rec.chain(before[i].name)
		if after == nil {
			f.change.all = true
			return
		}
		changed, dropped := compareChains(before[i].points, after.points)
		f.change.all = f.change.all || changed || dropped && f.rec.standsOtherwise(&before[i], after)
	}
}

// compareChains tells whether a reading that both hold got another verdict, or one
// that a service or sample stands on is kept no longer, and whether any is.
func compareChains(before, after []chainPoint) (changed, dropped bool) {
	j := 0
	for _, b := range before {
		for j < len(after) && after[j].at < b.at {
			j++
		}
		found := false
		for k := j; k < len(after) && after[k].at == b.at; k++ {
			if a := after[k]; a.key == b.key && a.id == b.id {
				found = true
				changed = changed || a.accepted != b.accepted || a.life != b.life
			}
		}
		changed = changed || !found && b.own
		dropped = dropped || !found
	}
	return changed, dropped
}

// standsOtherwise reports whether a service or sample that stood on the reading before
// it stands on another value since the chain was made anew.
func (r *Record) standsOtherwise(before, after *chain) bool {
	moved := func(s *Stamp, own map[string]unit.Quantity) bool {
		was, est, ok := before.lifeAt(s, own)
		if !ok || !est || s.Void {
			return false
		}
		is, _, ok := after.lifeAt(s, own)
		return !ok || is != was
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return moved(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return moved(&s.Stamp, s.Meters) })
}

// estimates reports whether a service or sample stands on the reading before it,
// for want of one of its own that is accepted, or work that was put off does.
func (r *Record) estimates(c *chain) bool {
	estimated := func(s *Stamp, own map[string]unit.Quantity) bool {
		_, est, ok := c.lifeAt(s, own)
		return ok && est && !s.Void
	}
	return slices.ContainsFunc(r.Services, func(s Service) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Samples, func(s Sample) bool { return estimated(&s.Stamp, s.Meters) }) ||
		slices.ContainsFunc(r.Postponed, func(p Postponed) bool { return r.waits(&p) })
}

func (r *Record) chainIfMade(name string) *chain {
	for i := range r.chains {
		if r.chains[i].name == name {
			return &r.chains[i]
		}
	}
	return nil
}

func (f *fold) takeReplaced(s Stamp, d *MeterReplacedData) error {
	last, hours, err := f.meterFor(d.Meter, d.Last)
	if err != nil {
		return err
	}
	first, _, err := f.meterFor(d.Meter, d.First)
	if err != nil {
		return err
	}
	i := f.rec.meter(d.Meter, hours)
	m := &f.rec.Meters[i]
	m.Replaced = latest(insert(m.Replaced, Replaced{Stamp: s, Last: last, First: first}), keptReplaced)
	f.rechain()
	f.change.all = true
	return nil
}

// ownMeters checks the meter values of a service or sample and makes sure that
// each meter has a log.
func (f *fold) ownMeters(q map[string]unit.Quantity) error {
	for _, name := range sortedKeys(q) {
		_, hours, err := f.meterFor(name, q[name])
		if err != nil {
			return err
		}
		f.rec.meter(name, hours)
	}
	return nil
}

func (f *fold) takeService(s Stamp, d *ServiceData) error {
	if err := f.checkComponent(d.Component); err != nil {
		return err
	}
	if err := f.checkExchange(d); err != nil {
		return err
	}
	if err := f.ownMeters(d.Meters); err != nil {
		return err
	}
	f.noteService(d)
	f.noteExchange(d)
	f.rec.Services = keepServices(insert(f.rec.Services, Service{s, d}))
	if !s.Void {
		f.change.service = &Service{s, d}
	}
	f.rechain()
	return nil
}

func (f *fold) takeSample(s Stamp, d *SampleData) error {
	if err := f.checkComponent(d.Component); err != nil {
		return err
	}
	if err := f.ownMeters(d.Meters); err != nil {
		return err
	}
	sample := Sample{Stamp: s, SampleData: d}
	if f.ev.Recorded.After(f.ev.Time) {
		sample.Reported = f.ev.Recorded.UnixNano()
	}
	f.compareWithFleet(&sample)
	f.rec.Samples = keepSamples(insert(f.rec.Samples, sample))
	f.change.place = sample.place(f.rec.registered().zone())
	f.change.sample, f.change.again = d.Component, f.supersedes(d)
	f.rechain()
	f.noteSample(d)
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

func (f *fold) checkComponent(name string) error {
	reg := f.rec.registered()
	if name == "" || reg == nil || reg.component(name) != nil {
		return nil
	}
	return refuse("vehicle %s has no component %q", f.rec.Vehicle, name)
}

// checkExchange wants to know whose fluid it was: an exchange that counts for no
// component would make the next sample be read as if there had been none.
func (f *fold) checkExchange(d *ServiceData) error {
	reg := f.rec.registered()
	if d.Fluid == nil || d.Component != "" || reg == nil {
		return nil
	}
	for i := range reg.Components {
		if exchanges(&Service{ServiceData: d}, reg, &reg.Components[i]) {
			return nil
		}
	}
	return refuse("name the component whose fluid was exchanged: vehicle %s has not just one that holds %q", f.rec.Vehicle, d.Fluid.Name)
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

// takeVoid takes an event out, now or when it comes.
func (f *fold) takeVoid(s Stamp, target ID) error {
	for i := range f.rec.Voids {
		if f.rec.Voids[i].ID == target {
			return refuse("a void cannot be voided")
		}
	}
	s.Void = false
	f.rec.Voids = latest(insert(f.rec.Voids, Voiding{s, target}), keptVoids)
	if !f.markVoided(target) {
		f.change.fact = false
		return nil
	}
	f.resting = true
	f.kept = nil
	f.rec.chains = nil
	f.change.all = true
	return nil
}

func (f *fold) markVoided(target ID) bool {
	r := f.rec
	var done [6]bool
	r.Register, done[0] = markVoid(r.Register, target)
	r.Services, done[1] = markVoid(r.Services, target)
	r.Samples, done[2] = markVoid(r.Samples, target)
	r.Postponed, done[3] = markVoid(r.Postponed, target)
	r.Answers, done[4] = markVoid(r.Answers, target)
	if done[4] {
		f.unanswer(target)
	}
	for i := range r.Meters {
		readings, a := markVoid(r.Meters[i].Readings, target)
		replaced, b := markVoid(r.Meters[i].Replaced, target)
		if a || b {
			r.Meters = slices.Clone(r.Meters)
			r.Meters[i].Readings, r.Meters[i].Replaced, done[5] = readings, replaced, true
		}
	}
	return slices.Contains(done[:], true)
}

// anew reports whether a rule on that component must walk its history again: a
// fact came before something that was judged.
func (f *fold) anew(comp int) bool {
	if f.change.all {
		return true
	}
	if !f.change.fact || comp < 0 {
		return f.change.fact && f.lateFact()
	}
	t := f.timeline(comp)
	i := t.lastSample()
	if f.change.again && f.change.sample == f.componentName(comp) {
		return true
	}
	if i < 0 || t.steps[i].sample.ID == f.ev.ID {
		return false
	}
	return f.change.place.compare(t.steps[i].place) <= 0
}

// supersedes reports whether the event's sample replaces an earlier revision, or is
// another analysis of the same sample.
func (f *fold) supersedes(d *SampleData) bool {
	for i := range f.rec.Samples {
		s := &f.rec.Samples[i]
		if s.Component == d.Component && s.Number == d.Number && s.ID.Source == f.ev.ID.Source && s.ID != f.ev.ID {
			return true
		}
	}
	return false
}

// lateFact reports whether the event's fact comes before another reading or
// service of the vehicle.
func (f *fold) lateFact() bool {
	at := f.ev.Time.UnixNano()
	for i := range f.rec.chains {
		if n := len(f.rec.chains[i].points); n > 0 && f.rec.chains[i].points[n-1].at > at {
			return true
		}
	}
	n := len(f.rec.Services)
	return n > 0 && f.rec.Services[n-1].At > at
}

// newJudgement is the place at which the event has a rule judged, if it does and
// the rule need not walk again.
func (f *fold) newJudgement(ar rules.AppliedRule) (judgement, bool) {
	r, c := ar.Rule, f.change
	switch {
	case c.clock && r.On&rules.OnClock != 0:
		return judgement{lastPlace, math.MaxInt64, ID{}}, true
	case !c.fact:
		return judgement{}, false
	case c.sample != "" && r.On&rules.OnSample != 0 && c.sample == f.componentName(ar.Component):
		t := f.timeline(ar.Component)
		if i := t.lastSample(); i >= 0 && t.steps[i].sample.ID == f.ev.ID {
			return judgement{t.steps[i].place, max(t.steps[i].at, f.ev.Time.UnixNano()), f.ev.ID}, true
		}
	case c.reading && r.On&rules.OnReading != 0 && f.acceptedReading(),
		c.service != nil && r.On&rules.OnService != 0:
		return judgement{place{f.ev.Time.UnixNano(), uint8(ServiceEvent)}, f.ev.Time.UnixNano(), f.ev.ID}, true
	}
	return judgement{}, false
}

// acceptedReading reports whether a reading of the event was accepted.
func (f *fold) acceptedReading() bool {
	s := newStamp(f.ev)
	for i := range f.rec.chains {
		if p, ok := f.rec.chains[i].of(&s); ok && p.accepted {
			return true
		}
	}
	return false
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

func (f *fold) move(m move) { f.moves = append(f.moves, m) }

func (f *fold) notJudged(k AlarmKey, l Latch) {
	n := &NotJudged{Time: f.when, Vehicle: f.rec.Vehicle, Component: k.Component, Rule: k.Rule,
		Transition: notJudgedAs, Missing: l.Missing, Events: f.causeIDs()}
	f.out = append(f.out, Output{NotJudged: n})
}

// flush turns the alarms that the judgements ask for, in order of name.
func (f *fold) flush() {
	slices.SortStableFunc(f.moves, func(a, b move) int { return a.AlarmKey.compare(b.AlarmKey) })
	for _, m := range f.moves {
		if t := f.turn(m); t != nil {
			f.say(t)
		}
	}
}
