package engine

import (
	"fmt"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/dueword"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/engine/wear"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/word"
)

// fold is one event on its way into one record.
type fold struct {
	judge.View // of a copy of the record; as it was it stays whole
	p          *Partition
	ev         event.Event
	change     record.Change
	moves      []alarmMove
	// ownLatches: the record's latches were copied for this fold and may be changed.
	ownLatches bool
	// walked: a rule walked its history again, so that what it had opened may be gone.
	walked bool
	out    []Output
	// whole: all that stands was judged, and these are the tasks.
	whole  bool
	judged []judgedTask
	quiet  *quiet // the bounds drawn after it; nil where there are none
}

// apply folds the event into the record; an error is a refusal.
func (f *fold) apply() error {
	if !f.ev.Kind.Internal() {
		f.Rec.NoteArrival(&f.ev, f.When)
		if known, err := f.Rec.Known(&f.ev); known || err != nil {
			return err
		}
		f.ev = f.Rec.Present(f.ev)
	}
	f.endShelves() // first, so that what the event raises is told
	if err := f.take(); err != nil {
		return err
	}
	f.judge()
	f.flush()
	f.scheduleNext()
	return nil
}

// take puts the event's fact into the record, does what a person said, and tells what
// of the event is not used.
func (f *fold) take() error {
	c, err := f.Rec.Take(&f.ev, f.When)
	if err != nil {
		return err
	}
	c.All = c.All || f.change.All // of a book
	f.change = c
	if c.TookOut {
		f.Kept = nil
	}
	switch d := f.ev.Data.(type) {
	case *event.VehicleData:
		f.Kept = nil
		f.compareWaiting()
	case *record.MergeData:
		f.Kept = nil
		f.compareWaiting()
	case *event.ReadingData:
		if work := d.ToppingUp(); work != nil {
			f.noteToppedUp(work, "reading")
		}
	case *event.ServiceData:
		f.LookAhead(c.Service)
		f.noteService(d)
		f.noteExchange(d)
		f.noteToppedUp(d, "work")
	case *event.SampleData:
		i := slices.IndexFunc(f.Rec.Samples, func(s record.Sample) bool { return s.ID == f.ev.ID })
		if i >= 0 { // it may be older than all that are kept
			f.compareWithFleet(&f.Rec.Samples[i])
		}
		f.noteSample(d)
	case *event.AnswerData:
		return f.takeAnswer(d)
	case *event.VoidData:
		if c.Answer != (event.ID{}) {
			f.unanswer(c.Answer)
		}
	}
	return nil
}

// noteSample tells what in the event's sample is not used, and why, as refusals of
// that part.
func (f *fold) noteSample(d *event.SampleData) {
	reg := f.Rec.Registered()
	if d.ByHand() && f.Book != nil {
		for _, why := range wear.Notes(f.Book, d) {
			f.note(fmt.Errorf("measured by hand: %s", why))
		}
	}
	if reg == nil || reg.ComponentNamed(d.Component) == nil {
		return
	}
	i := slices.IndexFunc(reg.Components, func(c event.ComponentDef) bool { return c.Name == d.Component })
	var t record.Timeline
	if f.Book == nil {
		t = f.Rec.Timeline(reg, &reg.Components[i], nil)
	} else {
		t = f.Timeline(i)
	}
	for i := range t.Steps {
		if !t.Steps[i].IsOf(f.ev.ID) {
			continue
		}
		for _, why := range record.NotesOn(reg, t, i, f.Said()) {
			f.note(fmt.Errorf("sample %s of %s: %s", d.Number, d.Component, why))
		}
	}
}

// note tells of a part of the event that is not used though the event is.
func (f *fold) note(why error) {
	r := f.p.refused(f.ev, why)
	r.Kept = true
	f.out = append(f.out, Output{Refused: r})
}

// noteService tells which tasks of the event's service the book in force does not
// know, as refusals of that part: the work is kept, and settles nothing.
func (f *fold) noteService(d *event.ServiceData) {
	if f.Book == nil {
		return
	}
	byTime := false
	for _, name := range d.Tasks {
		if !f.Book.Knows(name) {
			f.note(fmt.Errorf("the work is kept, but no task or follow-up of the rules in force is called %q", name))
		}
		byTime = byTime || slices.ContainsFunc(f.Book.Tasks, func(t *rules.Task) bool { return t.IsCalled(name) && t.Every.Months+t.Every.Days > 0 })
	}
	if reg := f.Rec.Registered(); d.Defect != "" && reg != nil && !reg.Retired && len(f.Takers(d.Component)) == 0 {
		f.note(fmt.Errorf("the defect is kept in the history, but no task asks for its repair: add one with `every: when reported` to the rules"))
	}
	if d.ValidUntil != "" && !byTime {
		f.note(fmt.Errorf("the work is kept, but %s does not go by the calendar, so \"valid until %s\" is not used", english.List("or", d.Tasks), d.ValidUntil))
	}
}

// noteExchange asks where the share that was renewed cannot well be: a drain of an
// automatic transmission leaves the converter full, so that people who enter the
// refill of the pan as the capacity are told so, and no component takes more than it
// holds. The work is kept as it was told.
func (f *fold) noteExchange(d *event.ServiceData) {
	reg := f.Rec.Registered()
	if d.Exchanged() == nil || d.Fluid.Flush || reg == nil {
		return
	}
	for i := range reg.Components {
		c := &reg.Components[i]
		if why := record.OddShare(d.Fluid, c, f.Said()); why != "" && record.Exchanges(&record.Service{ServiceData: d}, reg, c) {
			f.note(fmt.Errorf("the work is kept, but %s", why))
		}
	}
}

// noteToppedUp tells why fluid that was topped up cannot be used. What else the event
// says is kept.
func (f *fold) noteToppedUp(d *event.ServiceData, what string) {
	if reg := f.Rec.Registered(); reg != nil {
		if _, why := record.ToppedUpInto(d, reg, f.Said()); why != "" {
			f.note(fmt.Errorf("the %s is kept, but %s", what, why))
		}
	}
}

// causeIDs is the identity of the event that is folded; a tick has none.
func (f *fold) causeIDs() []event.ID {
	if f.ev.Kind.Internal() {
		return nil
	}
	return []event.ID{f.ev.ID}
}

func (f *fold) say(t *alarm.Transition) {
	t.BasedOn = f.Rec.Basis(t.Events, f.ev.ID)
	f.out = append(f.out, Output{Transition: t})
}

func (f *fold) notJudged(k alarm.Key, l latch.Latch) {
	n := &alarm.NotJudged{Time: f.When, Vehicle: f.Rec.Shown(), Component: k.Component, Rule: k.Rule,
		Transition: alarm.NotJudgedAs, Missing: l.Missing, Events: f.causeIDs()}
	f.out = append(f.out, Output{NotJudged: n})
}

// compareWithFleet notes what the baselines in force say of a sample that arrives.
func (f *fold) compareWithFleet(s *record.Sample) {
	if f.p.fleet.Hash == "" || f.Book == nil {
		return
	}
	if f.Rec.Registered() == nil {
		s.Fleet = f.p.fleet.Waiting()
		return
	}
	a := f.Applied()
	i := slices.IndexFunc(a.Comps, func(c word.Component) bool { return c.Name == s.Component })
	if i >= 0 {
		s.Fleet = f.p.fleet.Figures(a.Rules.Baselines[i], &a.Vehicle, &a.Comps[i], s.Sheet().Results)
	} else if f.p.fleet.Set == nil {
		s.Fleet = f.p.fleet.Gone()
	}
}

// compareWaiting compares the samples of a vehicle that was not registered when
// they arrived, as long as the set that was in force then still is.
func (f *fold) compareWaiting() {
	waits := func(s record.Sample) bool { return s.Fleet != nil && s.Fleet.Waits }
	if f.Rec.Registered() == nil || !slices.ContainsFunc(f.Rec.Samples, waits) {
		return
	}
	f.Rec.Samples = slices.Clone(f.Rec.Samples)
	for i := range f.Rec.Samples {
		s := &f.Rec.Samples[i]
		if !waits(*s) {
			continue
		}
		arrived := s.Fleet.Set
		if s.Fleet = nil; arrived == f.p.fleet.Hash {
			f.compareWithFleet(s)
		}
	}
}

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
	again bool // there is more to it than when it was told
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
	var what alarm.Change
	unsaid := false
	switch {
	case from != to:
		what, unsaid = a.Move(to, f.When.Unix(), f.change.TookOut)
	case m.again && to > 0:
		what = a.Again()
	default:
		return nil
	}
	t := f.transition(&a, what, from, to)
	t.Shelved, t.Standing = unsaid, a.Standing(f.Rec.Out)
	switch {
	case m.due > 0:
		dueword.Fill(&f.View, t, &f.judged[m.due-1].Due, to, f.causeIDs())
	case m.words != nil:
		m.words(t, from, to)
	}
	t.Settle(f.Units())
	a.Last = lasting(t)
	f.Rec.SetAlarm(a)
	return t
}

// lasting is what an alarm keeps of a transition: that it came with a backlog is past.
func lasting(t *alarm.Transition) alarm.Transition {
	last := *t
	last.Backlog = 0
	return last
}

// transition makes a transition of a with all that does not hang on the rule.
func (f *fold) transition(a *alarm.Alarm, what alarm.Change, from, to int) *alarm.Transition {
	t := &alarm.Transition{
		Time: f.When, Vehicle: f.Rec.Shown(), First: f.Rec.First(), Component: a.Component, Rule: a.Rule, Transition: what,
		From: a.StageName(from), To: a.StageName(to), Task: a.Task, Book: f.BookHash(), Backlog: f.backlog(),
	}
	if reg := f.Rec.Registered(); reg != nil {
		t.Reads = reg.Reads
	}
	return t
}

// withdraw takes an alarm away whose rule, component or vehicle is gone.
func (f *fold) withdraw(a alarm.Alarm, why string) {
	from := a.Stage
	a.Stage = 0
	t := f.transition(&a, alarm.Withdrawn, from, 0)
	t.Standing, t.Message, t.Title = alarm.StandsNormal, why, a.Last.Title
	t.Events = f.causeIDs()
	a.Last = lasting(t)
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
			f.unshelve(a)
		case a.Forget(now):
			f.Rec.SetAlarm(a)
		}
	}
}

// unshelve says again what an alarm is about that was put aside: of a task where it stands
// by now, since days and kilometres went on.
func (f *fold) unshelve(a alarm.Alarm) {
	t, last := f.transition(&a, alarm.Unshelved, a.Stage, a.Stage), a.Last.Marked()
	t.Standing, t.Message, t.Title, t.Statutory = a.Standing(f.Rec.Out), last.Message, last.Title, last.Statutory
	t.Advise, t.Cautions, t.OwnCautions, t.Events = last.Advise, last.Cautions, last.OwnCautions, last.Events
	if reg := f.Rec.Registered(); a.Task && f.Book != nil && reg != nil && !reg.Retired {
		v := judge.NewView(f.Law, *f.Rec, f.Kept)
		v.When, v.Reader = f.When, f.Reader
		v.EachTask(func(d *judge.Due, k alarm.Key) {
			if v.JudgeDue(d); k == a.Key && int(d.Stage) == a.Stage {
				dueword.Fill(v, t, d, a.Stage, nil)
			}
		})
	}
	t.Message = "no longer put aside; " + t.Message
	t.Settle(f.Units())
	f.Rec.SetAlarm(a)
	f.say(t)
}
