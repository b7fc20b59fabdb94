package engine

import (
	"slices"
	"time"
)

// takeAnswer does what a person said. Only what moves a task is a fact of the
// record; the others answer what stood when they came.
func (f *fold) takeAnswer(d *AnswerData) error {
	s := newStamp(&f.ev)
	s.Void = f.rec.voided(s.ID)
	if s.Void && d.Answer != "postpone" {
		f.rec.Answers = latest(append(f.rec.Answers, s), keptAnswers)
		return nil
	}
	var err error
	switch d.Answer {
	case "acknowledge":
		err = f.acknowledge(d)
	case "shelve":
		err = f.shelve(d)
	case "unshelve":
		err = f.unshelve(d)
	case "out of service", "in service":
		err = f.outOfService(d.Answer == "out of service")
	case "not mine":
		err = f.disown(d)
	case "postpone":
		return f.postpone(s, d)
	case "accept":
		return f.accept(s, d)
	default:
		err = Refuse("answer %q is none of acknowledge, shelve, unshelve, out of service, in service, not mine, postpone, accept", d.Answer)
	}
	if err == nil {
		f.rec.Answers = latest(append(f.rec.Answers[:len(f.rec.Answers):len(f.rec.Answers)], s), keptAnswers)
	}
	return err
}

// answered finds the alarm that an answer means. One that names no component
// means the only alarm of that rule.
func (f *fold) answered(d *AnswerData) (Alarm, error) {
	if i := f.rec.alarm(AlarmKey{d.Rule, d.Component}); i >= 0 {
		return f.rec.Alarms[i], nil
	}
	var found []Alarm
	for _, a := range f.rec.Alarms {
		if a.Rule == d.Rule && d.Component == "" {
			found = append(found, a)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return Alarm{}, Refuse("no alarm of %q stands on vehicle %s", d.Rule, f.rec.Vehicle)
	}
	return Alarm{}, Refuse("%q stands on %d components of vehicle %s: the answer must name one", d.Rule, len(found), f.rec.Vehicle)
}

// answer says that a person's word changed an alarm's standing.
func (f *fold) answer(a Alarm, what, why string) {
	t := f.transition(&a, what, a.Stage, a.Stage)
	t.Standing, t.Title, t.Message = a.standing(f.rec.Out), a.Last.Title, why
	t.Shelved = a.ShelvedUntil != 0
	t.Events = f.causeIDs()
	a.Last.Standing = t.Standing // otherwise the alarm goes on saying what it said
	f.rec.setAlarm(a)
	f.say(t)
}

func (f *fold) acknowledge(d *AnswerData) error {
	a, err := f.answered(d)
	if err != nil {
		return err
	}
	if a.Acked {
		return Refuse("%q is acknowledged already", d.Rule)
	}
	a.Acked, a.AckedBy = true, f.ev.ID
	f.answer(a, acked, d.Why)
	if a.Rule == NotTheirs {
		f.seenTo()
	}
	return nil
}

func (f *fold) shelve(d *AnswerData) error {
	a, err := f.answered(d)
	if err != nil {
		return err
	}
	until, err := time.Parse(time.RFC3339, d.Until)
	switch {
	case err != nil:
		return Refuse("until %q is not a time like 2031-03-20T08:05:00Z", d.Until)
	case a.Stage == 0:
		return Refuse("%q has returned to normal: there is nothing to shelve", d.Rule)
	case !until.After(f.when):
		return Refuse("until %s is over already", d.Until)
	}
	a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = until.Unix(), a.Stage, f.ev.ID
	f.answer(a, shelvedNow, d.Why)
	return nil
}

func (f *fold) unshelve(d *AnswerData) error {
	a, err := f.answered(d)
	if err != nil {
		return err
	}
	if a.ShelvedUntil == 0 {
		return Refuse("%q is not shelved", d.Rule)
	}
	a.unshelve()
	f.answer(a, unshelved, d.Why)
	return nil
}

// inSince is when the vehicle last came back into service, Unix seconds; 0 where it
// never was out.
func (r *Record) inSince() int64 {
	if n := len(r.InOut); n > 0 && !r.Out {
		return r.InOut[n-1]
	}
	return 0
}

// outAt reports whether it was out of service at a moment, Unix nanoseconds.
func (r *Record) outAt(at int64) bool {
	out := r.Out
	for i := len(r.InOut) - 1; i >= 0 && r.InOut[i] > seconds(at); i-- {
		out = !out
	}
	return out
}

func (f *fold) outOfService(out bool) error {
	if f.rec.Out == out {
		return Refuse("vehicle %s is %s already", f.rec.Vehicle, map[bool]string{true: "out of service", false: "in service"}[out])
	}
	f.rec.Out = out
	f.rec.InOut = latest(append(slices.Clone(f.rec.InOut), f.when.Unix()), keptInOut)
	f.change.All = !out // in service again: everything is judged once
	return nil
}

// unanswer takes back what a voided answer did.
func (f *fold) unanswer(id ID) {
	f.dropDisowned(func(o disowned) bool { return o.ID == id })
	for _, a := range f.rec.Alarms {
		switch id {
		case a.ShelvedBy:
			a.unshelve()
			f.answer(a, unshelved, "the answer that shelved it was taken back")
		case a.AckedBy:
			a.Acked, a.AckedBy = false, ID{}
			a.Last.Standing = a.standing(f.rec.Out)
			f.rec.setAlarm(a)
		}
	}
}
