package engine

import (
	"fmt"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/outlook"
	"telltale/engine/record"
	"telltale/rules/english"
)

// takeAnswer does what a person said. Only what moves a task is a fact of the
// record; the others answer what stood when they came.
func (f *fold) takeAnswer(d *event.AnswerData) error {
	s := record.StampOf(&f.ev)
	s.Void = f.Rec.Voided(s.ID)
	if s.Void && d.Answer != "postpone" {
		f.Rec.NoteAnswer(s)
		return nil
	}
	var err error
	switch d.Answer {
	case "acknowledge":
		err = f.acknowledge(d)
	case "shelve":
		err = f.shelve(d)
	case "unshelve":
		err = f.answer(d, alarm.Unshelved, (*alarm.Alarm).Unshelve)
	case "out of service", "in service":
		err = f.outOfService(d.Answer == "out of service")
	case "not mine":
		err = f.disown(d)
	case "postpone":
		return f.postpone(s, d)
	case "accept":
		if d.Rule != "" {
			return f.acceptMeter(s, d)
		}
		return f.accept(s, d)
	default:
		err = event.Refuse("answer %q is none of acknowledge, shelve, unshelve, out of service, in service, not mine, postpone, accept", d.Answer)
	}
	if err == nil {
		f.Rec.NoteAnswer(s)
	}
	return err
}

// shelve puts an alarm aside for as long as its stage allows, and says where that is less
// than was asked for.
func (f *fold) shelve(d *event.AnswerData) error {
	return f.answer(d, alarm.NowShelved, func(a *alarm.Alarm) error {
		until, err := a.Shelve(d, f.When, f.ev.ID)
		if err != nil {
			return err
		}
		if asked, _ := time.Parse(time.RFC3339, d.Until); until.Before(asked) {
			stage := a.StageName(a.Stage)
			f.note(fmt.Errorf("put aside only until %s: %s is the most at stage %s", interval.DateOf(until, f.Applied().Zone), english.Days(alarm.ShelfDays(stage)), stage))
		}
		return nil
	})
}

// answer changes an alarm's standing as a person says, and tells of it.
func (f *fold) answer(d *event.AnswerData, what alarm.Change, change func(*alarm.Alarm) error) error {
	a, err := f.alarmMeant(d)
	if err != nil {
		return err
	}
	if err := change(&a); err != nil {
		return err
	}
	f.answered(a, what, d.Why)
	return nil
}

// alarmMeant finds the alarm that an answer means. One that names no component
// means the only alarm of that rule.
func (f *fold) alarmMeant(d *event.AnswerData) (alarm.Alarm, error) {
	if a := f.Rec.Alarm(alarm.Key{Rule: d.Rule, Component: d.Component}); a != nil {
		return *a, nil
	}
	var found []alarm.Alarm
	for _, a := range f.Rec.Alarms {
		if a.Rule == d.Rule && d.Component == "" {
			found = append(found, a)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return alarm.Alarm{}, event.Refuse("vehicle %s has no active alarm %q", f.Rec.Shown(), d.Rule)
	}
	return alarm.Alarm{}, event.Refuse("%q is active on %d components of vehicle %s: name one", d.Rule, len(found), f.Rec.Shown())
}

// answered says that a person's word changed an alarm's standing.
func (f *fold) answered(a alarm.Alarm, what alarm.Change, why string) {
	t := f.transition(&a, what, a.Stage, a.Stage)
	t.Standing, t.Title, t.Message = a.Standing(f.Rec.Out), a.Last.Title, why
	t.Shelved = a.ShelvedUntil != 0
	t.Events = f.causeIDs()
	a.Last.Standing = t.Standing // otherwise the alarm goes on saying what it said
	f.Rec.SetAlarm(a)
	f.say(t)
}

func (f *fold) acknowledge(d *event.AnswerData) error {
	err := f.answer(d, alarm.NowAcknowledged, func(a *alarm.Alarm) error { return a.Acknowledge(f.ev.ID) })
	switch {
	case err != nil:
		return err
	case d.Rule == NotTheirs:
		f.seenTo()
	case d.Rule == doubt.GoingBack:
		f.settleBack(record.StampOf(&f.ev), record.Known)
	}
	return nil
}

// acceptMeter takes a person's word that a meter which went back was replaced, or that
// its lower readings are right for another reason: it goes on from there.
func (f *fold) acceptMeter(s record.Stamp, d *event.AnswerData) error {
	if d.Rule != doubt.GoingBack {
		return event.Refuse("%q cannot be accepted: acknowledge it", d.Rule)
	}
	switch any, open := f.Rec.WentBack(); {
	case !any:
		return event.Refuse("no meter of vehicle %s went back", f.Rec.Shown())
	case !open:
		return event.Refuse("the readings fit the higher ones again, so the lower one was wrong: acknowledge it, or void that reading")
	}
	f.settleBack(s, record.LowerHold)
	return nil
}

func (f *fold) settleBack(s record.Stamp, w record.Word) {
	if f.Rec.SettleBack(s, w) {
		f.change.Fact, f.change.All = true, true
	}
}

func (f *fold) outOfService(out bool) error {
	if f.Rec.Out == out {
		return event.Refuse("vehicle %s is %s already", f.Rec.Shown(), map[bool]string{true: "out of service", false: "in service"}[out])
	}
	f.Rec.SetOut(out, f.When.Unix(), f.ev.ID)
	f.change.All = !out // in service again: everything is judged once
	return nil
}

// unanswer takes back what a voided answer did.
func (f *fold) unanswer(id event.ID) {
	f.Rec.TakeBackOut(id)
	f.dropDisowned(func(o record.Disowned) bool { return o.ID == id })
	for _, a := range f.Rec.Alarms {
		switch wasShelved, wasAcked := a.TakeBack(id); {
		case wasShelved:
			f.answered(a, alarm.Unshelved, "the answer that put it aside was taken back")
		case wasAcked:
			a.Last.Standing = a.Standing(f.Rec.Out)
			f.Rec.SetAlarm(a)
		}
	}
}

func (f *fold) postpone(s record.Stamp, d *event.AnswerData) error {
	if f.Book != nil {
		if err := f.mayPostpone(s.At, d); err != nil {
			return err
		}
	}
	f.Rec.PutOff(record.Postponed{Stamp: s, AnswerData: d})
	f.change.Fact = !s.Void
	return nil
}

// accept moves a task to where the latest sample's forecast offers it.
func (f *fold) accept(s record.Stamp, d *event.AnswerData) error {
	why := "no sample's forecast suggests another point for it"
	for comp, def := range f.RegisteredComponents() {
		if d.Component != "" && d.Component != def.Name {
			continue
		}
		if f.Timeline(comp).LastSample() < 0 {
			continue
		}
		out := outlook.Of(&f.View, comp)
		switch offered, none := out.Offer(); {
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
