package engine

func (f *fold) postpone(s Stamp, d *AnswerData) error {
	if f.Book != nil {
		if err := f.mayPostpone(s.At, d); err != nil {
			return err
		}
	}
	f.rec.putOff(Postponed{Stamp: s, AnswerData: d})
	f.change.Fact = !s.Void
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
