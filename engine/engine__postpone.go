package engine

import (
	"telltale/engine/interval"
	"telltale/rules"
	"telltale/rules/unit"
	"time"
)

func (f *fold) postpone(s Stamp, d *AnswerData) error {
	if f.Book != nil {
		t, err := f.putOff(d.Task)
		switch {
		case err != nil:
			return err
		case t.Statutory:
			return Refuse("%q is statutory and cannot be postponed", d.Task)
		}
		if err := f.checkWait(s.At, t, d); err != nil {
			return err
		}
	}
	f.rec.putOff(Postponed{Stamp: s, AnswerData: d})
	f.change.Fact = !s.Void
	return nil
}

// putOff is the task that an answer means: of those kept for this vehicle, where it
// is registered.
func (f *fold) putOff(name string) (*rules.Task, error) {
	t := f.task(name)
	reg := f.rec.registered()
	if reg != nil && !reg.Retired {
		for _, at := range f.applied().rules.Tasks {
			if answersTo(at.Task, name) {
				return at.Task, nil
			}
		}
	}
	switch {
	case t != nil && reg != nil:
		return nil, Refuse("%q does not apply to vehicle %s", name, f.rec.Vehicle)
	case t != nil:
		return t, nil
	case f.knowsTask(name):
		return nil, Refuse("%q is a follow-up and cannot be postponed: shelve its alarm, or enter that it was done", name)
	}
	return nil, Refuse("the book in force has no task %q", name)
}

// checkWait refuses a wait of more than one interval.
func (f *fold) checkWait(at int64, t *rules.Task, d *AnswerData) error {
	if d.ByDistance != nil {
		by, err := d.ByDistance.As(unit.Distance)
		switch {
		case err != nil:
			return Refuse("byDistance: %v", err)
		case t.Every.Distance == 0:
			return Refuse("%q is not due by distance: postpone it until a date", d.Task)
		case by > t.Every.Distance*(1+slack):
			return Refuse("%q can be postponed by %s at most, its interval", d.Task, f.amount(t.Every.Distance, false))
		}
		return nil
	}
	until, err := interval.ParseDate(d.Until)
	if err != nil {
		return Refuse("until: %v", err)
	}
	zone := time.UTC
	if reg := f.rec.registered(); reg != nil {
		zone = reg.zone()
	}
	last := wait(interval.DateOf(time.Unix(0, at), zone), interval.Limits(t.Every))
	if until > last {
		return Refuse("%q can be postponed until %s at most, one interval from the day of the answer", d.Task, last)
	}
	return nil
}

// accept moves a task to where the latest sample's forecast offers it.
func (f *fold) accept(s Stamp, d *AnswerData) error {
	why := "no forecast of a sample offers another point for it"
	for comp, def := range f.registeredComponents() {
		if d.Component != "" && d.Component != def.Name {
			continue
		}
		if f.timeline(comp).lastSample() < 0 {
			continue
		}
		out := f.outlook(comp)
		switch offered, none := f.offer(comp, &out); {
		case offered != nil && offered.task == d.Task:
			p := Postponed{Stamp: s, AnswerData: d, To: offered.life, ByHours: offered.hours}
			f.rec.putOff(p)
			f.change.Fact = true
			return nil
		case none != "":
			why = none
		}
	}
	return Refuse("nothing to accept for %q: %s", d.Task, why)
}
