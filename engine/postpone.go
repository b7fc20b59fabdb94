package engine

import (
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/unit"
)

// mayPostpone refuses an answer that would put off what cannot wait, or not so long.
func (f *fold) mayPostpone(at int64, d *event.AnswerData) error {
	t, err := f.postponable(d.Task)
	switch {
	case err != nil:
		return err
	case t.Reported:
		return event.Refuse("%q is for defects that were reported, which cannot be postponed: put its alarm aside, or enter that they were repaired", d.Task)
	case t.Statutory:
		return event.Refuse("%q is statutory and cannot be postponed", d.Task)
	}
	return f.checkWait(at, t, d)
}

// postponable is the task that an answer means: of those kept for this vehicle, where it
// is registered.
func (f *fold) postponable(name string) (*rules.Task, error) {
	t := f.Book.Task(name)
	reg := f.Rec.Registered()
	if reg != nil && !reg.Retired {
		for _, at := range f.Applied().Rules.Tasks {
			if at.Task.IsCalled(name) {
				return at.Task, nil
			}
		}
	}
	switch {
	case t != nil && reg != nil:
		return nil, event.Refuse("%q does not apply to vehicle %s", name, f.Rec.Shown())
	case t != nil:
		return t, nil
	case f.Book.Knows(name):
		return nil, event.Refuse("%q is a follow-up and cannot be postponed: shelve its alarm, or enter that it was done", name)
	}
	return nil, event.Refuse("the book in force has no task %q", name)
}

// checkWait refuses a wait of more than one interval.
func (f *fold) checkWait(at int64, t *rules.Task, d *event.AnswerData) error {
	if d.ByDistance != nil {
		by, err := d.ByDistance.As(unit.Distance)
		switch {
		case err != nil:
			return event.Refuse("byDistance: %v", err)
		case t.Every.Distance == 0:
			return event.Refuse("%q is not due by distance: postpone it until a date", d.Task)
		case by > t.Every.Distance*(1+expression.Slack):
			return event.Refuse("%q can be postponed by %s at most, its interval", d.Task, english.Worded(f.Chosen(t.Every.Distance, false), f.Units()))
		}
		return nil
	}
	until, err := interval.ParseDate(d.Until)
	if err != nil {
		return event.Refuse("until: %v", err)
	}
	zone := time.UTC
	if reg := f.Rec.Registered(); reg != nil {
		zone = reg.Location()
	}
	last := judge.LatestWait(interval.DateOf(time.Unix(0, at), zone), interval.Limits(t.Every))
	if until > last {
		return event.Refuse("%q can be postponed until %s at most, one interval from the day of the answer", d.Task, last)
	}
	return nil
}
