package engine

import (
	"cmp"
	"reflect"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/gauge"
	"telltale/engine/history"
	"telltale/engine/judge"
	"telltale/engine/listing"
	"telltale/engine/record"
	"telltale/engine/sample"
	"telltale/engine/stranger"
	"telltale/engine/whole"
	"telltale/engine/why"
	"telltale/rules/unit"
)

// Asker is in which units whoever asks reads: of each vehicle in those that its
// registration names, then in Units, then in the book's. Based is for a program: all is in
// the base units, whatever anybody reads.
type Asker struct {
	Units unit.System
	Based bool
}

// Asked is a partition that answers somebody in their units, of the vehicles that they may
// see.
type Asked struct {
	*Partition
	by    Asker
	Sight *listing.Sight // of this partition; nil for one who sees all
}

// AskedBy has the partition answer whoever reads so.
func (p *Partition) AskedBy(who Asker) Asked { return Asked{Partition: p, by: who} }

// Sight is what a text lets somebody see, see [listing.Index.Sight].
func (p *Partition) Sight(text string, sees func(home string, reg *event.VehicleData) bool) *listing.Sight {
	return p.lists.Sight(text, sees)
}

// Sees reports whether the vehicle that has or had the name is here and may be seen.
func (a Asked) Sees(name string) bool { return a.of(name) != nil }

// of is the record of the vehicle that has or had the name; nil where there is none here that
// may be seen.
func (a Asked) of(name string) *vehicle {
	if r := a.Partition.of(name); r != nil && a.Sight.Sees(r.card) {
		return r
	}
	return nil
}

// view reads the vehicle's record as it stands now; what it derives is its own.
func (p *Partition) view(v *vehicle) *judge.View {
	return judge.NewView(&p.law, v.Record, v.applied)
}

func (a Asked) view(v *vehicle) *judge.View {
	out := a.Partition.view(v)
	out.Reader.Units, out.Based = a.by.Units, a.by.Based
	return out
}

// known is the view of a vehicle that is registered, where a book is in force; else nil.
func (a Asked) known(vehicle string) *judge.View {
	r := a.of(vehicle)
	if r == nil || a.law.Book == nil || r.Registered() == nil {
		return nil
	}
	return a.view(r)
}

// judged is the view of a vehicle that is judged; nil for one that is retired or not
// known.
func (a Asked) judged(vehicle string) *judge.View {
	v := a.known(vehicle)
	if v == nil || v.Rec.Registered().Retired {
		return nil
	}
	return v
}

// Vehicles lists the vehicles of which there are events, each by the name that its record
// is kept under, in order.
func (p *Partition) Vehicles() []string {
	return slices.Sorted(func(yield func(string) bool) {
		for v, r := range p.records {
			if r.Is == "" && !yield(v) {
				return
			}
		}
		for v := range p.packed {
			if !yield(v) {
				return
			}
		}
	})
}

// named is the vehicle of that name, if there are events of it; all where it is empty.
func (a Asked) named(vehicle string) []string {
	if vehicle == "" {
		return slices.DeleteFunc(a.Vehicles(), func(home string) bool { return !a.Sees(home) })
	}
	if r := a.of(vehicle); r != nil {
		return []string{r.Vehicle}
	}
	return nil
}

// Unregistered lists the vehicles whose events are kept unjudged because nobody
// registered them, in order of name. Who does not see all sees none.
func (a Asked) Unregistered() []string {
	var out []string
	for _, v := range a.named("") {
		if a.record(v).Registered() == nil {
			out = append(out, v)
		}
	}
	return out
}

// Strangers tells of the vehicles that nobody registered.
func (a Asked) Strangers() (out []stranger.Vehicle) {
	for _, v := range a.Unregistered() {
		out = append(out, stranger.Of(&a.record(v).Record))
	}
	return out
}

// Alarms lists what stands, in order of vehicle, rule and component.
func (p *Partition) Alarms() []alarm.Listed { return p.AlarmsOf("") }

// AlarmsOf lists what stands of one vehicle; of all where it is empty.
func (p *Partition) AlarmsOf(vehicle string) []alarm.Listed {
	return p.AskedBy(p.By).AlarmsOf(vehicle)
}

// AlarmsOf is [Partition.AlarmsOf] in the asker's units.
func (a Asked) AlarmsOf(vehicle string) []alarm.Listed {
	var out []alarm.Listed
	for _, name := range a.named(vehicle) {
		r := a.record(name)
		list := r.Standings()
		for i := range list {
			list[i].Transition = *a.view(r).Told(&list[i].Transition)
		}
		out = append(out, list...)
	}
	return out
}

// Registered is the vehicle's registration that counts; nil where there is none.
func (p *Partition) Registered(vehicle string) *event.VehicleData {
	if r := p.of(vehicle); r != nil {
		return r.Registered()
	}
	return nil
}

// Due is the due list as the records stand, ordered by what to do first:
// overdue, due, soon, then by forecast.
func (p *Partition) Due(q due.Query) []due.Item { return p.AskedBy(p.By).Due(q) }

// Due is [Partition.Due] in the asker's units.
func (a Asked) Due(q due.Query) []due.Item {
	var out []due.Item
	for _, v := range a.named(q.Vehicle) {
		out = append(out, due.List(a.view(a.record(v)), q)...)
	}
	due.SortDue(out)
	return out
}

// Why tells it for every rule, task, follow-up and data alarm of a vehicle, in
// order of name and component; for one alone where it is named. It is empty for a
// vehicle that nobody registered, and for a name that nothing has.
func (p *Partition) Why(vehicle, name string) []why.Why { return p.AskedBy(p.By).Why(vehicle, name) }

// Why is [Partition.Why] in the asker's units.
func (a Asked) Why(vehicle, name string) []why.Why {
	if v := a.known(vehicle); v != nil {
		return why.Of(v, name)
	}
	return nil
}

// Verdicts reads the latest sample of each component of a vehicle, or of the one
// named, in order of component. There is none of a component without a sample.
func (p *Partition) Verdicts(vehicle, component string) []sample.Verdict {
	return p.AskedBy(p.By).Verdicts(vehicle, component)
}

// Verdicts is [Partition.Verdicts] in the asker's units.
func (a Asked) Verdicts(vehicle, component string) []sample.Verdict {
	if v := a.judged(vehicle); v != nil {
		return sample.Verdicts(v, component)
	}
	return nil
}

// Numbered reads the samples of that number, of each component or of the one named.
func (a Asked) Numbered(vehicle, component, number string) []sample.Verdict {
	if v := a.judged(vehicle); v != nil {
		return sample.Numbered(v, component, number)
	}
	return nil
}

// Samples lists the samples of each component, or of the one named, the latest first.
func (a Asked) Samples(vehicle, component string) []sample.Line {
	if v := a.judged(vehicle); v != nil {
		return sample.Lines(v, component)
	}
	return nil
}

// Measured tells what was measured by hand of a vehicle, of all that the book names where
// everything is asked for.
func (p *Partition) Measured(vehicle string, everything bool) []gauge.Measured {
	return p.AskedBy(p.By).Measured(vehicle, everything)
}

// Measured is [Partition.Measured] in the asker's units.
func (a Asked) Measured(vehicle string, everything bool) []gauge.Measured {
	if v := a.judged(vehicle); v != nil {
		return gauge.List(v, everything)
	}
	return nil
}

// History is what a vehicle's record holds, in order of time: its registration
// first, then work, samples with what they were judged as, meter values and
// postponements, each with its source. ExtendHistory adds what a log holds beyond
// the record. It is nil for a vehicle that nobody registered.
func (p *Partition) History(vehicle string) []history.Entry {
	return p.AskedBy(p.By).History(vehicle)
}

// History is [Partition.History] in the asker's units.
func (a Asked) History(vehicle string) []history.Entry {
	if v := a.known(vehicle); v != nil {
		return history.Of(v)
	}
	return nil
}

// Known says of some events of a vehicle which of them its record holds, whether with
// the same content, and which were taken out.
func (a Asked) Known(vehicle string, events []KnownEvent) []KnownEvent {
	r := a.of(vehicle)
	if r == nil {
		return nil
	}
	var out []KnownEvent
	for _, e := range events {
		switch s := r.Seen(e.ID); {
		case s != nil:
			out = append(out, KnownEvent{e.ID, event.DigestText(s.Digest), r.Voided(e.ID)})
		case r.Voided(e.ID):
			out = append(out, KnownEvent{ID: e.ID, TakenOut: true})
		}
	}
	return out
}

// KnownEvent is an event's identity and the hash of its content, in hex; "" of one that
// was taken out before it came.
type KnownEvent struct {
	event.ID
	Digest string `json:"digest"`
	// TakenOut: a void names it, so it counts for nothing.
	TakenOut bool `json:"takenOut,omitempty"`
}

// RegisteredVehicle is a vehicle by its present name, with its registration.
type RegisteredVehicle struct {
	Vehicle string `json:"vehicle"`
	First   string `json:"first,omitempty"` // see alarm.Transition
	*event.VehicleData

	at time.Time // of the registration
}

// Later is the moment now, or the first after its registration at which another one counts.
func (v *RegisteredVehicle) Later(now time.Time) time.Time {
	if after := v.at.Add(time.Second).Truncate(time.Second); v.VehicleData != nil && after.After(now) {
		return after
	}
	return now
}

// Same reports whether the vehicle is registered as the registration of that name says.
func (v *RegisteredVehicle) Same(name string, d *event.VehicleData) bool {
	if v.VehicleData == nil || v.Vehicle != name {
		return false
	}
	c := *v.VehicleData
	c.Key = d.Key // which is of the way that it took
	return reflect.DeepEqual(&c, d)
}

// Taken says why no vehicle can be registered under a name that this one has or had; "" where
// one can.
func (v *RegisteredVehicle) Taken(name string, d *event.VehicleData) string {
	if v.VehicleData == nil || v.Vehicle == name || slices.Contains(d.Was, v.Vehicle) {
		return ""
	}
	return record.TakenBy(name, v.Vehicle)
}

// Register lists the vehicles that are registered, by id.
func (p *Partition) Register() []RegisteredVehicle {
	var out []RegisteredVehicle
	for _, v := range p.Vehicles() {
		out = append(out, p.AskedBy(p.By).RegisterOf(v)...)
	}
	slices.SortFunc(out, func(a, b RegisteredVehicle) int { return cmp.Compare(a.Vehicle, b.Vehicle) })
	return out
}

// RegisterOf is the list of the one vehicle that has or had the name.
func (a Asked) RegisterOf(name string) []RegisteredVehicle {
	if r := a.of(name); r != nil && r.Registered() != nil {
		return []RegisteredVehicle{registeredAs(r)}
	}
	return nil
}

// Tags are those that vehicles are registered with, as name=value, in order.
func (a Asked) Tags() []string { return a.lists.Tags(a.Sight) }

// turn is this partition's part of a digest.
func (p *Partition) turn(d *event.TurnData) *TurnPart {
	if p.turned == nil {
		p.turned = &TurnPart{Now: p.law.Now, Items: p.Due(due.Query{}), Alarms: p.Alarms(), Vehicles: len(p.Vehicles())}
	}
	part := *p.turned
	part.Digest, part.Date = d.Digest, d.Date
	part.Items, part.Alarms = slices.Clone(part.Items), slices.Clone(part.Alarms) // whoever has it may leave some out
	return &part
}

// Reconcile compares what was said last of an alarm with how its record stands
// now, and gives the transition that leads from the one to the other; false where
// nothing is to be said. A program that folds the same events otherwise than the
// one before it needs this: what it would have said in between was kept back.
func (p *Partition) Reconcile(said alarm.Transition) (alarm.Transition, bool) {
	now := alarm.Alarm{Key: alarm.Key{Rule: said.Rule, Component: said.Component}, Task: said.Task, Acked: true, Last: said}
	there, out := false, false
	shown, first := said.Vehicle, said.First
	if r := p.record(said.Home()); r != nil {
		out, now.Component = r.Out, r.Registered().Present().Component(now.Component)
		shown, first = r.Shown(), r.First()
		if a := r.Alarm(now.Key); a != nil {
			now, there = *a, true
		}
	}
	from := max(0, slices.Index(alarm.StageWords(said.Task), said.To))
	what := alarm.Difference(said.Standing, now.Standing(out), from, now.Stage, there)
	if what == "" {
		return alarm.Transition{}, false
	}
	t := now.Last
	t.Vehicle, t.First, t.Component = shown, first, now.Component
	t.Transition, t.Reconciled, t.Task = what, true, now.Task
	t.From, t.To, t.Standing = said.To, now.StageName(now.Stage), now.Standing(out)
	t.Shelved, t.Book = now.ShelvedUntil != 0, ""
	if p.law.Book != nil {
		t.Book = p.law.Book.Hash
	}
	if !there {
		t.Message, t.Evidence, t.Advise, t.FollowUps = "the same events are judged differently now", nil, "", nil
	}
	for _, at := range [...]alarm.Transition{said, now.Last} {
		if at.Time.After(t.Time) {
			t.Time = at.Time
		}
	}
	if p.law.Now.After(t.Time) {
		t.Time = p.law.Now
	}
	return t, true
}

// Whole tells all of one vehicle at once; one item, none of a vehicle that nobody
// registered.
func (a Asked) Whole(vehicle string) []whole.Vehicle {
	if r := a.of(vehicle); r != nil && r.Registered() != nil {
		return []whole.Vehicle{whole.Of(a.view(r))}
	}
	return nil
}
