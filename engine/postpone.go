package engine

import (
	"telltale/engine/event"
	"telltale/engine/record"
)

func (f *fold) postpone(s record.Stamp, d *event.AnswerData) error {
	if f.Book != nil {
		if err := f.MayPostpone(s.At, d); err != nil {
			return err
		}
	}
	f.Rec.PutOff(record.Postponed{Stamp: s, AnswerData: d})
	f.change.Fact = !s.Void
	return nil
}

// accept moves a task to where the latest sample's forecast offers it.
func (f *fold) accept(s record.Stamp, d *event.AnswerData) error {
	why := "no forecast of a sample offers another point for it"
	for comp, def := range f.RegisteredComponents() {
		if d.Component != "" && d.Component != def.Name {
			continue
		}
		if f.Timeline(comp).LastSample() < 0 {
			continue
		}
		out := f.Outlook(comp)
		switch offered, none := f.Offer(comp, &out); {
		case offered != nil && offered.Task == d.Task:
			p := record.Postponed{Stamp: s, AnswerData: d, To: offered.Life, ByHours: offered.Hours}
			f.Rec.PutOff(p)
			f.change.Fact = true
			return nil
		case none != "":
			why = none
		}
	}
	return event.Refuse("nothing to accept for %q: %s", d.Task, why)
}
