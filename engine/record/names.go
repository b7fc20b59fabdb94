package record

import (
	"cmp"
	"fmt"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/latch"
)

// A vehicle that is renamed keeps its record under the name that it had first. That name
// decides which partition folds it, it is in the keys of stored records, of alarms that
// were told and of messages, and all of these would have to move in one step otherwise.
// What has another name by now is for people: [Record.Shown] is what they read. The
// record of any other name that the vehicle has had is a pointer, which has Is and nothing
// else, so that whatever comes under that name, however late, finds its way. A name that
// was one vehicle's never becomes another's.
//
// Components and meters have no partition, so the facts themselves take the new name
// ([Record.rename]), and later events under the old one are read as if they had it
// ([Record.Present]).

// MostNames bounds the names of a vehicle.
const MostNames = 32

// Home follows a name to the one that the vehicle's record is kept under: is gives the
// next name on the way, "" at its end.
func Home(name string, is func(string) string) string {
	for range MostNames {
		next := is(name)
		if next == "" {
			break
		}
		name = next
	}
	return name
}

// Shown is the vehicle's present name.
func (r *Record) Shown() string {
	if d := r.Registered(); d != nil {
		return cmp.Or(d.Key, r.Vehicle)
	}
	return r.Vehicle
}

// First is the name that the record is kept under, where that is not the present one.
func (r *Record) First() string {
	if r.Shown() != r.Vehicle {
		return r.Vehicle
	}
	return ""
}

// Earlier is the record to which this one's facts belong, by a registration that came
// under its name; "" where they stay here. It goes along the list of earlier names, in
// whichever order they stand, to the first that is registered, or to the last. A name that
// the vehicle is known to have had is never followed back.
func (r *Record) Earlier(d *event.VehicleData) string {
	i := slices.Index(d.Was, r.Vehicle)
	if i >= 0 && r.Registered() != nil {
		return ""
	}
	next := slices.IndexFunc(d.Was[i+1:], func(w string) bool { return !slices.Contains(r.Names, w) })
	if next < 0 {
		return ""
	}
	return d.Was[i+1+next]
}

// Unheard are the earlier names of a registration that the vehicle is not known by yet.
func (r *Record) Unheard(d *event.VehicleData) (out []string) {
	for _, w := range d.Was {
		if w != r.Vehicle && !slices.Contains(r.Names, w) {
			out = append(out, w)
		}
	}
	return out
}

// takeNames notes the names that a registration of the vehicle brings.
func (r *Record) takeNames(d *event.VehicleData) error {
	key := cmp.Or(d.Key, r.Vehicle)
	shown := r.Shown()
	used := key == r.Vehicle || slices.Contains(r.Names, key)
	if r.Registered() != nil && used && key != shown && !slices.Contains(d.Was, shown) {
		return event.Refuse("%s", TakenBy(key, shown))
	}
	names := slices.Clone(r.Names)
	for _, n := range append([]string{d.Key}, d.Was...) {
		if n != "" && n != r.Vehicle && !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	if len(names) > MostNames {
		return event.Refuse("vehicle %s has had %d names already", shown, len(r.Names))
	}
	r.Names = names
	return nil
}

// TakenBy says that a name was a vehicle's that has another one now.
func TakenBy(name, shown string) string {
	return fmt.Sprintf("%s is an earlier name of vehicle %s: write `was: %s` to give it back, or choose a name that no vehicle has had", name, shown, shown)
}

// KnownAs lists all names that the vehicle has had, the first one first.
func (r *Record) KnownAs() []string { return append([]string{r.Vehicle}, r.Names...) }

// Present is the event by the present names of the vehicle's components and meters.
func (r *Record) Present(ev event.Event) event.Event {
	ev.Data = r.Registered().Present().Data(ev.Data)
	return ev
}

// rename gives all that the record holds the present names.
func (r *Record) rename() {
	p := r.Registered().Present()
	if p.None() {
		return
	}
	r.Services, r.Samples, r.Postponed = slices.Clone(r.Services), slices.Clone(r.Samples), slices.Clone(r.Postponed)
	for i := range r.Services {
		r.Services[i].ServiceData = p.Data(r.Services[i].ServiceData).(*event.ServiceData)
	}
	for i := range r.Samples {
		r.Samples[i].SampleData = p.Data(r.Samples[i].SampleData).(*event.SampleData)
	}
	for i := range r.Postponed {
		r.Postponed[i].AnswerData = p.Data(r.Postponed[i].AnswerData).(*event.AnswerData)
	}
	r.renameMeters(p)
	r.renameStanding(p)
	r.chains = nil
}

func (r *Record) renameMeters(p event.PresentNames) {
	logs := r.Meters
	r.Meters = nil
	for _, m := range logs {
		i := r.meter(p.Meter(m.Name), m.Hours)
		r.addLog(&r.Meters[i], m)
	}
}

// addLog takes in what another log of the same meter holds.
func (r *Record) addLog(m *MeterLog, o MeterLog) {
	for _, f := range o.Readings {
		m.Readings = insert(m.Readings, f)
	}
	if len(m.Readings) > thinAt {
		m.Readings = r.thin(m.Readings)
	}
	for _, f := range o.Replaced {
		m.Replaced = insert(m.Replaced, f)
	}
	m.Replaced = latest(m.Replaced, keptReplaced)
}

// renameStanding moves the alarms and latches. Of two that come to have one name the one
// that was under the earlier one has the longer past and stays.
func (r *Record) renameStanding(p event.PresentNames) {
	alarms, latches := slices.Clone(r.Alarms), slices.Clone(r.Latches)
	r.Alarms, r.Latches = nil, nil
	moved := func(k alarm.Key) bool { return p.Component(k.Component) != k.Component }
	slices.SortStableFunc(alarms, func(a, b alarm.Alarm) int { return TrueFirst(moved(a.Key), moved(b.Key)) })
	for _, a := range alarms {
		a.Component, a.Last.Component = p.Component(a.Component), p.Component(a.Last.Component)
		if r.Alarm(a.Key) == nil {
			r.SetAlarm(a)
		}
	}
	slices.SortStableFunc(latches, func(a, b latch.Latch) int { return TrueFirst(moved(a.Key), moved(b.Key)) })
	for _, l := range latches {
		l.Component = p.Component(l.Component)
		if i, found := r.LatchAt(l.Key); !found {
			r.Latches = slices.Insert(r.Latches, i, l)
		}
	}
	r.Ahead = slices.Clone(r.Ahead)
	for i := range r.Ahead {
		r.Ahead[i].Component = p.Component(r.Ahead[i].Component)
	}
}

// TrueFirst compares two, so that what is true comes first.
func TrueFirst(a, b bool) int {
	switch {
	case a == b:
		return 0
	case a:
		return -1
	}
	return 1
}
