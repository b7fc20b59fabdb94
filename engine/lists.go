package engine

import (
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/listing"
	"telltale/rules/english"
)

// lists are the partition's lists, kept in step with the records that were read.
type lists struct {
	*listing.Index
	// putOff are the vehicles of which a task may be postponed.
	putOff map[string]bool
}

func newLists() lists { return lists{listing.NewIndex(), map[string]bool{}} }

// list brings the lists up to date with a record that was read or folded; whole: its tasks
// were judged, and these are they.
func (p *Partition) list(r *vehicle, whole bool, tasks []judgedTask) {
	r.card = p.lists.Set(r.card, &r.Record)
	switch waits := slices.ContainsFunc(tasks, func(j judgedTask) bool { return j.Postponed != nil }); {
	case waits || !whole && len(r.Postponed) > 0:
		p.lists.putOff[r.Vehicle] = true
	default:
		delete(p.lists.putOff, r.Vehicle)
	}
}

// unlist takes a vehicle out of the lists.
func (p *Partition) unlist(r *vehicle) {
	p.lists.Drop(r.card)
	r.card = nil
	delete(p.lists.putOff, r.Vehicle)
}

// Homes are the vehicles that are registered, of all or of those with a tag, by the names
// that their records are kept under, in order of the present ones. This and what follows
// speaks of the records that were read alone; see Unpack.
func (a Asked) Homes(tag string) []string { return a.lists.Homes(tag, a.Sight) }

// Part is the partition's part of a page of lines; of listing.Postponed, see
// [Asked.Waiting].
func (a Asked) Part(q listing.Query) listing.Part {
	q.Sight = a.Sight
	out := a.lists.Part(q)
	out.Now = a.law.Now
	return out
}

// Counted counts the lines of a list that is kept in order.
func (a Asked) Counted(q listing.Query) listing.Count {
	q.Sight = a.Sight
	return a.lists.CountOf(q)
}

// PutOff lists the vehicles of which a task may be postponed, by the names that their
// records are kept under.
func (a Asked) PutOff() []string {
	var out []string
	for v := range a.lists.putOff {
		if a.Sees(v) {
			out = append(out, v)
		}
	}
	slices.Sort(out)
	return out
}

// Waiting are the lines of the tasks of one of these that are postponed.
func (p *Partition) Waiting(home string) (out []listing.Reckoned) {
	v := p.AskedBy(p.By).judged(home)
	r := p.record(home)
	if v == nil || r.card == nil {
		return nil
	}
	for _, it := range due.Postponed(v) {
		out = append(out, p.lists.Reckoned(r.card, &it))
	}
	if len(out) == 0 && !r.Out {
		delete(p.lists.putOff, home) // it was done since
	}
	return out
}

// Lines are the lines that a page refers to, as they stand now. One that has moved to another
// place since is left out.
func (a Asked) Lines(view listing.View, refs []listing.Ref) []listing.Line {
	var out []listing.Line
	views := map[string]*judge.View{}
	for _, ref := range refs {
		r := a.of(ref.Home)
		k, err := listing.ParseKey(ref.Key)
		if r == nil || r.card == nil || err != nil {
			continue
		}
		if views[ref.Home] == nil {
			views[ref.Home] = a.view(r)
		}
		if l, ok := lineOf(views[ref.Home], r, view, ref.Key, alarm.Key{Rule: k.Rule, Component: k.Component}); ok {
			out = append(out, l)
		}
	}
	return out
}

func lineOf(v *judge.View, r *vehicle, view listing.View, key string, k alarm.Key) (l listing.Line, ok bool) {
	l.Key = key
	al := r.Alarm(k)
	if al != nil && (view == listing.Postponed || listing.KeyOf(&r.Record, al) == key) {
		l.Alarm = r.ListedAs(al)
		l.Alarm.Transition = *v.Told(&l.Alarm.Transition)
	}
	if l.Alarm == nil && view != listing.Postponed {
		return l, false
	}
	if view == listing.Postponed || al.Task && view != listing.Returned {
		l.Due = due.ItemOf(v, k)
	}
	return l, l.Alarm != nil || l.Due != nil
}

// VehiclePart is the partition's part of a page of its vehicles.
func (a Asked) VehiclePart(q listing.VehicleQuery) listing.VehiclePart {
	q.Sight = a.Sight
	return a.lists.VehiclePart(q, a.law.Now, func(home string) int64 { return a.record(home).LastRead() })
}

// VehicleLines are the vehicles that a page refers to, as they stand now.
func (a Asked) VehicleLines(refs []listing.Ref) []listing.Vehicle {
	var out []listing.Vehicle
	for _, ref := range refs {
		if r := a.of(ref.Home); r != nil && r.card != nil && r.Shown() == ref.Key {
			out = append(out, a.vehicleLine(r))
		}
	}
	return out
}

func (a Asked) vehicleLine(r *vehicle) listing.Vehicle {
	reg := r.Registered()
	l := listing.Vehicle{Vehicle: r.Shown(), First: r.First(), VehicleData: reg, Out: r.Out}
	if at := r.LastRead(); at != 0 {
		l.LastReadAt = time.Unix(at, 0).UTC()
		l.LastRead = interval.DateOf(l.LastReadAt, reg.Location()).String()
	}
	if al := worst(r.Alarms); al != nil {
		l.Worst = r.ListedAs(al)
		l.Worst.Transition = *a.view(r).Told(&l.Worst.Transition)
	}
	if v := a.judged(r.Vehicle); v != nil {
		l.Next = due.Next(v)
	}
	return l
}

// worst is the alarm that is worst of those that stand; of several, one that is not put
// aside, and a rule's before a task's.
func worst(list []alarm.Alarm) *alarm.Alarm {
	best, most := (*alarm.Alarm)(nil), 0
	for i := range list {
		a := &list[i]
		weight := 4 * a.Stage
		if a.ShelvedUntil == 0 {
			weight += 2
		}
		if !a.Task {
			weight++
		}
		if a.Stage > 0 && weight > most {
			best, most = a, weight
		}
	}
	return best
}

// registeredAs is the vehicle of a record that is registered.
func registeredAs(r *vehicle) RegisteredVehicle {
	return RegisteredVehicle{r.Shown(), r.First(), r.Registered(), r.RegisteredAt()}
}

// Called lists the vehicles that people may mean by a name: by their key, name, plate, VIN
// or an earlier key, whatever the blanks, hyphens and case.
func (a Asked) Called(name string) (out []RegisteredVehicle) {
	a.Unpack(len(a.packed) + 1)
	folded := english.Folded(name)
	for _, home := range a.lists.Called(folded, a.Sight) {
		if v := registeredAs(a.record(home)); v.calledBy(folded) != "" {
			out = append(out, v)
		}
	}
	slices.SortFunc(out, func(a, b RegisteredVehicle) int { return strings.Compare(a.Vehicle, b.Vehicle) })
	return out
}
