package engine

import (
	"slices"

	"telltale/engine/alarm"
)

// move is what a judgement asks of an alarm: the stage it should have and the
// words for it.
type alarmMove struct {
	alarm.Key
	task  bool
	stage int
	// words fills in the transition's message, evidence, advice and the rest; it
	// is called only when the alarm moves. For a task that was judged they are found
	// from its place in fold.judged, of which due is one more.
	words func(t *alarm.Transition, from, to int)
	due   int
}

func (f *fold) move(m alarmMove) { f.moves = append(f.moves, m) }

// flush turns the alarms that the judgements ask for, in order of name.
func (f *fold) flush() {
	slices.SortStableFunc(f.moves, func(a, b alarmMove) int { return a.Key.Compare(b.Key) })
	for _, m := range f.moves {
		if t := f.turn(m); t != nil {
			f.say(t)
		}
	}
}

// turn moves the alarm to the stage that m asks for; it returns nil where nothing
// changes.
func (f *fold) turn(m alarmMove) *alarm.Transition {
	a := alarm.Alarm{Key: m.Key, Task: m.task}
	if stands := f.Rec.Alarm(m.Key); stands != nil {
		a = *stands
	}
	from, to := a.Stage, m.stage
	if from == to {
		return nil
	}
	what, unsaid := a.Move(to, f.When.Unix(), f.change.TookOut)
	t := f.transition(&a, what, from, to)
	t.Shelved, t.Standing = unsaid, a.Standing(f.Rec.Out)
	switch {
	case m.due > 0:
		f.TaskWords(t, &f.judged[m.due-1].Due, to, f.causeIDs())
	case m.words != nil:
		m.words(t, from, to)
	}
	a.Last = *t
	f.Rec.SetAlarm(a)
	return t
}

// transition makes a transition of a with all that does not hang on the rule.
func (f *fold) transition(a *alarm.Alarm, what string, from, to int) *alarm.Transition {
	return &alarm.Transition{
		Time: f.When, Vehicle: f.Rec.Vehicle, Component: a.Component, Rule: a.Rule, Transition: what,
		From: a.StageName(from), To: a.StageName(to), Task: a.Task, Book: f.BookHash(),
	}
}

// withdraw takes an alarm away whose rule, component or vehicle is gone.
func (f *fold) withdraw(a alarm.Alarm, why string) {
	from := a.Stage
	a.Stage = 0
	t := f.transition(&a, alarm.Withdrawn, from, 0)
	t.Standing, t.Message, t.Title = alarm.Normal, why, a.Last.Title
	t.Events = f.causeIDs()
	a.Last = *t
	f.Rec.SetAlarm(a)
	if from > 0 {
		f.say(t)
	}
}

// endShelves unshelves what was shelved until now, and forgets what returned
// long ago.
func (f *fold) endShelves() {
	now := f.When.Unix()
	for _, a := range f.Rec.Alarms {
		switch {
		case a.EndShelf(now):
			t := f.transition(&a, alarm.Unshelved, a.Stage, a.Stage)
			t.Standing, t.Message, t.Title = a.Standing(f.Rec.Out), "the shelf is over; "+a.Last.Message, a.Last.Title
			t.Advise, t.Cautions, t.OwnCautions, t.Events = a.Last.Advise, a.Last.Cautions, a.Last.OwnCautions, a.Last.Events
			f.Rec.SetAlarm(a)
			f.say(t)
		case a.Forget(now):
			f.Rec.SetAlarm(a)
		}
	}
}
