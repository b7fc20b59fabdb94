package notify

import (
	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
)

// Narrow leaves on a part of a list what its reader can hear of, by the scope that came with the
// turn ([people.Directory.Scope]); registered gives a vehicle's registration by the name of its
// record. The list that [Digest] makes of it is the same.
func Narrow(scope string, registered func(home string) *event.VehicleData, part *engine.TurnPart) error {
	d, err := people.ReadScope(part.Digest, scope)
	if err != nil {
		return err
	}
	l := &list{p: readerOf(d.Person(part.Digest))}
	reg := func(home string) people.Vehicle { return VehicleOf(home, registered(home)) }
	heard := func(s alarm.Listed, stage alarm.Stage) bool {
		_, heard := l.hears(d, reg, &s, stage)
		return heard
	}
	var items []due.Item
	for i := range part.Items {
		if e := lineOf(&part.Items[i]); heard(e.Listed, workStage(e.work)) {
			items = append(items, part.Items[i])
		}
	}
	var alarms []alarm.Listed
	for i := range part.Alarms {
		if stage := listedAt(&part.Alarms[i]); stage != "" && heard(part.Alarms[i], stage) {
			alarms = append(alarms, part.Alarms[i])
		}
	}
	part.Items, part.Alarms = items, alarms
	return nil
}

// workStage is the stage of work that people hear of: what a list has ahead is soon.
func workStage(i *due.Item) alarm.Stage {
	if i.Stage == alarm.Normal {
		return alarm.Soon
	}
	return i.Stage
}

// listedAt is the stage at which people hear that an alarm is on a list, or that it ended; "" for
// one that is on none, as are those of tasks, whose work is.
func listedAt(s *alarm.Listed) alarm.Stage {
	switch {
	case s.To == alarm.Normal && s.Transition.Transition == alarm.Cleared:
		return s.From
	case !s.Task && s.To != alarm.Normal && s.Standing != alarm.Returned && s.Standing != alarm.OutOfService:
		return s.To
	}
	return ""
}

// Sees reads which registered vehicles somebody may see, from a text of [people.Access.Sees], for
// the service's questions.
func Sees(text string) (func(home string, d *event.VehicleData) bool, error) {
	sees, err := people.ReadSees(text)
	return func(home string, d *event.VehicleData) bool { return sees(VehicleOf(home, d)) }, err
}
