package record

import (
	"maps"
	"math"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Change is what taking an event in did to the facts of a record.
type Change struct {
	// All: what was judged before may have come out otherwise, so every rule walks
	// its history again.
	All bool
	// Fact: there is a new fact at that place; rules whose judgements it comes before
	// walk again.
	Fact  bool
	Place Place
	// What of it can bring a rule to judge: a sample of a component, an accepted
	// reading, a service.
	Sample string
	// Measured: something was measured by hand on the vehicle.
	Measured bool
	Again    bool // the sample replaces an earlier one, or is another analysis of it
	Reading  bool
	Service  *Service
	// TookOut: a fact was taken out, so an alarm that goes is withdrawn. Answer is the
	// person's answer that was taken back so.
	TookOut bool
	Answer  event.ID
}

// Known looks for the event among the facts: true where it is there already, a refusal
// where its identity is another event's.
func (r *Record) Known(ev *event.Event) (bool, error) {
	switch s := r.Seen(ev.ID); {
	case s == nil:
		return false, nil
	case s.Digest != ev.Digest && s.Digest != AnyDigest:
		return false, event.RefuseAs(event.Conflict, "conflict: event %s of %s is already recorded with different content", ev.ID.ID, ev.ID.Source)
	}
	return true, nil
}

// Take puts the fact of an event that came at a moment into the record, or refuses it. An
// answer's fact is not among these: what a person says is an answer to what stands. The
// record is half changed where Take fails.
func (r *Record) Take(ev *event.Event, came time.Time) (Change, error) {
	r.ensureChains() // to see what the event changes in them
	s := StampOf(ev)
	s.Void, s.Old = r.Voided(s.ID), ev.Kind == event.ServiceEvent && Old(ev.Time, came)
	c := Change{Fact: !s.Void, Place: s.Place(ev.Kind)}
	var err error
	switch d := ev.Data.(type) {
	case *event.VehicleData:
		if err := r.takeNames(d); err != nil {
			return c, err
		}
		r.Register = keepRegister(insert(r.Register, Registration{s, d}))
		r.rename()
		r.chains, c.All = nil, true // what is dated before it came into service is disputed
	case *MergeData:
		r.takeMerge(&c, d)
	case *event.ReadingData:
		err = r.takeReading(&c, s, d)
	case *event.MeterReplacedData:
		err = r.takeReplaced(&c, s, d)
	case *event.ServiceData:
		err = r.takeService(&c, s, d)
	case *event.SampleData:
		err = r.takeSample(&c, s, d, ev)
	case *event.AnswerData:
		c.Fact = false
	case *event.VoidData:
		err = r.takeVoid(&c, s, event.ID(*d))
	}
	r.ensureChains()
	c.All = r.holdBacks() || c.All
	return c, err
}

// meterFor checks a meter value against the register and returns it in base units.
func (r *Record) meterFor(name string, q unit.Quantity) (v float64, hours bool, err error) {
	v, kind, err := q.Base()
	if err != nil {
		return 0, false, event.Refuse("meter %s: %v", name, err)
	}
	reg := r.Registered()
	if reg == nil {
		reg = &event.VehicleData{}
	}
	hours, ok := reg.MeterKind(name, kind)
	switch {
	case !ok:
		return 0, false, event.Refuse("vehicle %s has no meter %q", r.Shown(), name)
	case hours != (kind == unit.Time):
		return 0, false, event.Refuse("meter %s counts %s, and %s is %s", name, map[bool]string{true: "hours", false: "a distance"}[hours], q, kind)
	}
	if len(r.Meters) >= keptMeters && r.chain(name) == nil {
		return 0, false, event.Refuse("vehicle %s already has %d meters, the most that are kept", r.Shown(), keptMeters)
	}
	return v, hours, nil
}

func (r *Record) takeReading(c *Change, s Stamp, d *event.ReadingData) error {
	if work := d.ToppingUp(); work != nil {
		return r.takeToppedUp(c, s, work)
	}
	v, hours, err := r.meterFor(d.Meter, unit.Quantity{Value: d.Value, Unit: d.Unit})
	if err != nil {
		return err
	}
	i := r.meter(d.Meter, hours)
	m, reading := &r.Meters[i], Reading{Stamp: s, Value: v}
	m.makeRoom()
	m.Readings = insert(m.Readings, reading)
	whole := len(m.Readings) <= thinAt
	if !whole {
		m.Readings = r.thin(m.Readings)
	}
	if s.Void {
		return nil // the void came first; the fact stays as a tombstone
	}
	// Where work stands on the reading before it, this one may thin that one out: the
	// chain is then made anew, as it would be from the stored record.
	if ch := r.chainIfMade(d.Meter); whole && ch != nil && ch.Healthy && !r.Estimates(ch) && ch.appends(reading) {
		c.Reading = true
		return nil
	}
	r.rechain(c)
	return nil
}

// takeToppedUp keeps a reading that tells of a top-up as work, which is not thinned out;
// its meter counts as that of any work.
func (r *Record) takeToppedUp(c *Change, s Stamp, d *event.ServiceData) error {
	c.Place = s.Place(event.ServiceEvent)
	if err := r.ownMeters(d.Meters); err != nil {
		return err
	}
	r.keepWork(c, s, d)
	return nil
}

// rechain derives the chains anew. Where a verdict on an earlier reading changed,
// or one that something rests on is kept no longer, all is judged again.
func (r *Record) rechain(c *Change) {
	before := r.chains
	r.chains = nil
	r.ensureChains()
	c.Reading = true
	for i := range before {
		after := r.chain(before[i].Name)
		if after == nil {
			c.All = true
			return
		}
		changed, dropped := compareChains(before[i].Points, after.Points)
		was, untoldBefore := before[i].UntoldSince()
		is, untold := after.UntoldSince()
		c.All = c.All || changed || dropped && r.standsOtherwise(&before[i], after) || untold != untoldBefore || was != is
	}
}

func (r *Record) takeReplaced(c *Change, s Stamp, d *event.MeterReplacedData) error {
	last, hours, err := r.meterFor(d.Meter, d.Last)
	if err != nil {
		return err
	}
	first, _, err := r.meterFor(d.Meter, d.First)
	if err != nil {
		return err
	}
	i := r.meter(d.Meter, hours)
	m := &r.Meters[i]
	m.Replaced = latest(insert(m.Replaced, Replaced{Stamp: s, Last: last, First: first}), keptReplaced)
	r.rechain(c)
	c.All = true
	return nil
}

// ownMeters checks the meter values of a service or sample and makes sure that
// each meter has a log.
func (r *Record) ownMeters(q map[string]unit.Quantity) error {
	for _, name := range slices.Sorted(maps.Keys(q)) {
		_, hours, err := r.meterFor(name, q[name])
		if err != nil {
			return err
		}
		r.meter(name, hours)
	}
	return nil
}

func (r *Record) takeService(c *Change, s Stamp, d *event.ServiceData) error {
	if err := r.checkComponent(d.Component); err != nil {
		return err
	}
	if err := r.checkExchange(d); err != nil {
		return err
	}
	if err := r.ownMeters(d.Meters); err != nil {
		return err
	}
	r.keepWork(c, s, d)
	return nil
}

func (r *Record) keepWork(c *Change, s Stamp, d *event.ServiceData) {
	r.Services = keepServices(insert(r.Services, Service{s, d}))
	if !s.Void {
		c.Service = &Service{s, d}
	}
	r.rechain(c)
}

func (r *Record) takeSample(c *Change, s Stamp, d *event.SampleData, ev *event.Event) error {
	if err := r.checkComponent(d.Component); err != nil {
		return err
	}
	if err := r.ownMeters(d.Meters); err != nil {
		return err
	}
	sample := Sample{Stamp: s, SampleData: d}
	if ev.Recorded.After(ev.Time) {
		sample.Reported = ev.Recorded.UnixNano()
	}
	r.Samples = keepSamples(insert(r.Samples, sample))
	c.Place = sample.Place(r.Registered().Location())
	c.Sample, c.Measured, c.Again = d.Component, d.ByHand(), r.supersedes(&sample)
	r.rechain(c)
	return nil
}

// supersedes reports whether the sample replaces an earlier revision, or is another
// analysis of the same sample.
func (r *Record) supersedes(s *Sample) bool {
	return slices.ContainsFunc(r.Samples, func(o Sample) bool {
		return !s.ByHand() && o.Component == s.Component && o.Number == s.Number && o.ID.Source == s.ID.Source && o.ID != s.ID
	})
}

func (r *Record) checkComponent(name string) error {
	reg := r.Registered()
	if name == "" || reg == nil || reg.ComponentNamed(name) != nil {
		return nil
	}
	return event.Refuse("vehicle %s has no component %q", r.Shown(), name)
}

// checkExchange wants to know whose fluid it was: an exchange that counts for no
// component would make the next sample be read as if there had been none.
func (r *Record) checkExchange(d *event.ServiceData) error {
	reg := r.Registered()
	if d.Exchanged() == nil || d.Component != "" || reg == nil || NamesItsComponent(d, reg) {
		return nil
	}
	var have []string
	for i := range reg.Components {
		have = append(have, reg.Components[i].Name)
	}
	if have == nil {
		return event.Refuse("fluid was exchanged, but vehicle %s has no components in the register", r.Shown())
	}
	return event.Refuse("which component? Fluid was exchanged, and %s has %s", r.Shown(), english.List("and", have))
}

// NamesItsComponent reports whether the fluid's name, or its being the only one, says of
// which component work without one exchanged the fluid.
func NamesItsComponent(d *event.ServiceData, reg *event.VehicleData) bool {
	for i := range reg.Components {
		if Exchanges(&Service{ServiceData: d}, reg, &reg.Components[i]) {
			return true
		}
	}
	return false
}

// takeVoid takes an event out, now or when it comes.
func (r *Record) takeVoid(c *Change, s Stamp, target event.ID) error {
	for i := range r.Voids {
		if r.Voids[i].ID == target {
			return event.Refuse("a void cannot be voided: enter again what it took back")
		}
	}
	s.Void = false
	r.Voids = latest(insert(r.Voids, Voiding{s, target}), keptVoids)
	if find(r.Answers, KeyOf(target), target) != nil {
		c.Answer = target
	}
	r.Meters = slices.Clone(r.Meters)
	for l := range r.lists {
		c.TookOut = l.void(target) || c.TookOut
	}
	c.Fact = c.TookOut
	if c.TookOut {
		r.chains, c.All = nil, true
	}
	return nil
}

// LateFact reports whether an event's fact at that place comes before another reading or
// service of the vehicle.
func (r *Record) LateFact(id event.ID, at Place) bool {
	later := func(p *Point) bool { return p.ID != id && PlaceOf(p.At, event.ReadingEvent).Compare(at) > 0 }
	for i := range r.chains {
		n := len(r.chains[i].Points)
		for _, p := range r.chains[i].Points[max(0, n-2):] {
			if later(&p) {
				return true
			}
		}
	}
	n := len(r.Services)
	return n > 0 && r.Services[n-1].Place(event.ServiceEvent).Compare(at) > 0
}

// FirstFact is when the first was observed of the facts that rules are judged by, Unix
// nanoseconds; MaxInt64 where there is none.
func (r *Record) FirstFact() int64 {
	first := int64(math.MaxInt64)
	for _, c := range r.Chains() {
		if len(c.Points) > 0 {
			first = min(first, c.Points[0].At)
		}
	}
	if len(r.Services) > 0 {
		first = min(first, r.Services[0].At)
	}
	if len(r.Samples) > 0 {
		first = min(first, r.Samples[0].At)
	}
	return first
}

// AcceptedReading reports whether a reading of the event was accepted.
func (r *Record) AcceptedReading(ev *event.Event) bool {
	s := StampOf(ev)
	for i := range r.chains {
		if p, ok := r.chains[i].of(&s); ok && p.Accepted {
			return true
		}
	}
	return false
}
