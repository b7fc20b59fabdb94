package engine

import (
	"math"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/defect"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/moment"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// judge brings everything that stands on this vehicle up to date with the event.
func (f *fold) judge() {
	r := f.Rec
	reg := r.Registered()
	switch {
	case reg == nil || f.Book == nil:
		f.withdrawAll("the vehicle is not registered any more")
		return
	case reg.Retired:
		f.withdrawAll("the vehicle is retired")
		r.Latches = nil
		return
	case r.Out:
		f.judgeWhileOut()
		return
	case f.unclocked():
		return
	}
	if f.ev.Kind == event.AnswerEvent && !f.change.Fact && !f.change.All {
		return // what was said about an alarm changes no fact
	}
	f.whole = true
	a := f.Applied()
	if f.ev.Kind == event.BookEvent {
		f.carryOverAll()
	}
	// Rules come first: what they open and pull in moves tasks by the same event.
	for depth := range f.Book.Deepest + 1 { // those that ask for others after them
		for _, ar := range a.Rules.Rules {
			if ar.Rule.Depth == depth {
				f.judgeRule(ar)
			}
		}
	}
	f.judgeMeters()
	f.judgeDisowned()
	f.judgeTasks()
	f.judgeFollowUps()
	switch {
	case f.change.All:
		// Every task has asked for a move by now; what none asked for is gone.
		f.dropStrangers()
	case f.walked || f.change.Sample != "" || f.change.Measured || f.change.Service != nil:
		f.dropFollowUps()
	}
}

// unclocked: no event has told the time yet, as where the clock follows the events
// and only the register was read. What is due from the first judgement on would be
// dated half a century back, so the first tick or event makes that judgement.
func (f *fold) unclocked() bool { return f.When.Unix() <= 0 }

// judgeWhileOut lets the work that a service lists settle its tasks; everything
// else waits until the vehicle is in service again.
func (f *fold) judgeWhileOut() {
	if s := f.change.Service; s != nil {
		f.judgeTasks()
		f.judgeFollowUps()
		f.moves = slices.DeleteFunc(f.moves, func(m alarmMove) bool { return !f.Lists(s, m.Rule) })
	}
}

func (f *fold) withdrawAll(why string) {
	for _, a := range f.Rec.Alarms {
		f.withdraw(a, why)
	}
}

// dropStrangers withdraws the alarms, and forgets the latches, of rules, tasks,
// components and follow-ups that are gone.
func (f *fold) dropStrangers() {
	a := f.Applied()
	stands := map[alarm.Key]bool{}
	for _, ar := range a.Rules.Rules {
		stands[f.Key(ar.Rule.Name, ar.Component)] = true
	}
	f.Rec.Latches = slices.DeleteFunc(slices.Clone(f.Rec.Latches), func(l latch.Latch) bool { return !stands[l.Key] })
	for _, m := range f.moves {
		stands[m.Key] = true
	}
	for _, al := range f.Rec.Alarms {
		if !stands[al.Key] {
			f.withdraw(al, f.whyGone(al))
		}
	}
}

// dropFollowUps withdraws the follow-ups that nothing opens any more, as when a
// corrected report takes back what the first one raised.
func (f *fold) dropFollowUps() {
	asked := map[alarm.Key]bool{}
	for _, m := range f.moves {
		asked[m.Key] = true
	}
	for _, a := range f.Rec.Alarms {
		if a.Task && a.Stage > 0 && !asked[a.Key] {
			f.withdraw(a, "what opened it was taken back")
		}
	}
}

func (f *fold) whyGone(a alarm.Alarm) string {
	switch {
	case f.change.TookOut:
		return "what it was based on was taken back"
	case f.ev.Kind == event.BookEvent:
		return "the rule book in force no longer has it for this vehicle"
	}
	return "it no longer applies to this vehicle"
}

// carryOver moves an alarm to the new name of its rule or task, once: from the latest of
// the earlier names that has one.
func (f *fold) carryOver(p *rules.Part, component string) {
	for _, was := range p.Was {
		old := f.Rec.Alarm(alarm.Key{Rule: was, Component: component})
		if old == nil || f.Rec.Alarm(alarm.Key{Rule: p.Name, Component: component}) != nil {
			continue
		}
		a := *old
		f.Rec.Alarms = slices.DeleteFunc(slices.Clone(f.Rec.Alarms), func(o alarm.Alarm) bool { return o.Key == a.Key })
		a.Rule, a.Last.Rule = p.Name, p.Name
		f.Rec.SetAlarm(a)
	}
}

func (f *fold) carryOverAll() {
	a := f.Applied()
	for _, ar := range a.Rules.Rules {
		f.carryOver(&ar.Rule.Part, f.ComponentName(ar.Component))
		f.carryLatch(&ar.Rule.Part, f.Key(ar.Rule.Name, ar.Component))
	}
	for _, at := range a.Rules.Tasks {
		f.carryOver(&at.Task.Part, f.ComponentName(at.Component))
	}
}

// anew reports whether a rule must walk its history again: a fact came before something
// that was judged.
func (f *fold) anew(ar applies.Rule) bool {
	comp, c := ar.Component, f.change
	switch {
	case c.All || !c.Fact:
		return c.All
	case ar.Rule.On&rules.OnClock != 0 && !f.Now.IsZero() && c.Place.At < f.Now.UnixNano():
		return true
	case len(f.Book.Measures) > 0 && f.Rec.MeasuredAfter(c.Place, f.Applied().Zone):
		return true
	case ar.Rule.On&(rules.OnReading|rules.OnService) != 0 && f.Rec.LateFact(f.ev.ID, c.Place):
		return true
	case ar.Rule.On&rules.OnSample == 0 || comp < 0:
		return false
	}
	t := f.Timeline(comp)
	i := t.LastSample()
	if f.change.Again && f.change.Sample == f.ComponentName(comp) {
		return true
	}
	if i < 0 || t.Steps[i].Sample.ID == f.ev.ID {
		return false // the latest: one step more is enough
	}
	return f.change.Place.Compare(t.Steps[i].Place) <= 0
}

// newJudgement is the place at which the event has a rule judged, if it does and
// the rule need not walk again.
func (f *fold) newJudgement(ar applies.Rule) (judge.Judgement, bool) {
	r, c := ar.Rule, f.change
	switch {
	case f.ev.Kind == event.TickEvent && r.On&rules.OnClock != 0:
		return judge.Judgement{Before: record.LastPlace, At: math.MaxInt64, Clock: f.Now.UnixNano()}, true
	case !c.Fact:
		return judge.Judgement{}, false
	case c.Sample != "" && r.On&rules.OnSample != 0 && c.Sample == f.ComponentName(ar.Component):
		t := f.Timeline(ar.Component)
		if i := t.LastSample(); i >= 0 && t.Steps[i].Sample.ID == f.ev.ID {
			return judge.SampleAt(&t.Steps[i]), true
		}
	case c.Measured && judge.MeasuredFor(r, &f.ev):
		return judge.Judgement{Before: c.Place, At: max(c.Place.At, f.ev.Time.UnixNano()), ID: f.ev.ID, Sampled: true}, true
	case c.Reading && r.On&rules.OnReading != 0 && f.Rec.AcceptedReading(&f.ev),
		c.Service != nil && r.On&rules.OnService != 0:
		return judge.Judgement{Before: record.PlaceOf(f.ev.Time.UnixNano(), event.ServiceEvent), At: f.ev.Time.UnixNano(), ID: f.ev.ID}, true
	}
	return judge.Judgement{}, false
}

// judgeRule brings one rule up to date after the event and turns its alarm.
func (f *fold) judgeRule(ar applies.Rule) {
	k := alarm.Key{Rule: ar.Rule.Name, Component: f.ComponentName(ar.Component)}
	l, had := f.Rec.LatchOf(k)
	var last judge.Judgement
	switch at, now := f.newJudgement(ar); {
	case had && ar.Rule.On&rules.OnClock != 0 && f.goesOn(ar.Rule):
		return
	case ar.Rule.On&rules.OnClock != 0 && !f.Now.IsZero() && f.ev.Kind != event.BookEvent && f.anew(ar):
		if f.putsOff(ar.Rule, &l) {
			f.setLatch(l)
			return
		}
		l, last = f.walkBack(ar, l)
		f.walked = true
	case f.anew(ar) || !had:
		before := l
		l, last = f.Walk(ar.Rule, ar.Component, k)
		f.walked = f.walked || had
		l.KeepOpenings(ar.Rule, &before)
	case now && l.Stale != 0 && f.ev.Kind == event.TickEvent:
		l, last = f.walkBack(ar, l)
		f.walked = true
	case now:
		if f.Step(ar.Rule, ar.Component, &l, at) {
			last = at
		}
	default:
		return
	}
	f.setLatch(l)
	if len(l.Missing) > 0 {
		f.notJudged(k, l)
	}
	if a := f.Rec.Alarm(k); a != nil && a.Stage != l.Stage || a == nil && l.Stage > 0 {
		f.moveRule(ar, l, last)
	}
}

// goesOn reports whether a rule by the clock stands as it does until the next tick: the event
// is a book that judges by the same rule, and may differ by comments.
func (f *fold) goesOn(r *rules.Rule) bool {
	return f.ev.Kind == event.BookEvent && f.p.former.Judges(r)
}

// moveRule asks for the alarm's move to the latch's stage. It is apart so that a
// latch is copied to where closures live only when an alarm moves.
func (f *fold) moveRule(ar applies.Rule, l latch.Latch, at judge.Judgement) {
	f.move(alarmMove{Key: l.Key, stage: l.Stage, words: func(t *alarm.Transition, _, to int) {
		f.RuleWords(t, ar, l, at, to, f.causeIDs())
	}})
}

// setLatch puts the latch into the record, of which the latches are copied at the
// first of the fold.
func (f *fold) setLatch(l latch.Latch) {
	r := f.Rec
	if !f.ownLatches {
		r.Latches, f.ownLatches = slices.Clone(r.Latches), true
	}
	i, ok := r.LatchAt(l.Key)
	if ok {
		r.Latches[i] = l
		return
	}
	r.Latches = slices.Insert(r.Latches, i, l)
}

// judgedTask is a task or follow-up that was judged.
type judgedTask struct {
	judge.Due
	calendar int64 // nextByCalendar, once the fold schedules the next look
}

// unsteady: a reading may move the due point, or take the stage back.
func (j *judgedTask) unsteady() bool {
	return j.Due.Waiting || j.Due.AsksFacts() || j.Due.Stage == interval.Soon && j.Due.Forecast
}

// judgeTasks finds each task's stage.
func (f *fold) judgeTasks() {
	list := f.Applied().Rules.Tasks
	f.judged, f.moves = slices.Grow(f.judged, len(list)+2), slices.Grow(f.moves, len(list)+5)
	for _, at := range list {
		d := f.Reckon(at, record.LastPlace, math.MaxInt64)
		f.PullIn(&d)
		f.moveTask(d, f.Key(at.Task.Name, at.Component))
	}
}

func (f *fold) moveTask(d judge.Due, k alarm.Key) {
	f.judged = append(f.judged, judgedTask{Due: d})
	j := &f.judged[len(f.judged)-1]
	f.JudgeDue(&j.Due)
	again := f.change.Service != nil && slices.ContainsFunc(j.Defects, func(d defect.Defect) bool { return d.ID == f.change.Service.ID })
	f.move(alarmMove{Key: k, task: true, stage: j.Stage, due: len(f.judged), again: again})
}

// judgeFollowUps finds the stage of every follow-up that was opened. Follow-ups
// are keyed by component and name; opening one that stands keeps the earlier point.
func (f *fold) judgeFollowUps() {
	f.EachFollowUp(func(d *judge.Due, k alarm.Key, stands bool) {
		if stands {
			f.moveTask(*d, k)
			return
		}
		title, end, lapsed := d.Title(), d.FollowUpEnd(), d.Lapsed
		f.move(alarmMove{Key: k, task: true, words: func(t *alarm.Transition, _, _ int) {
			t.Title, t.Message, t.Lapsed, t.Events = title, end, lapsed, f.causeIDs()
		}})
	})
}

// scheduleNext notes the next moment at which a tick can change something, in Unix
// seconds, and what readings cannot.
func (f *fold) scheduleNext() {
	r := f.Rec
	reg := r.Registered()
	switch {
	case reg == nil:
		r.Next = record.Seconds(r.FirstSeen) + int64(unregisteredFor/time.Second) + 1
	case f.Book == nil || reg.Retired || r.Out:
		r.Next = math.MaxInt64
	case f.unclocked():
		r.Next = 0
	case !f.whole:
		r.Next = min(r.Next, f.nextOfAlarms())
	default:
		for i := range f.judged {
			f.judged[i].calendar = moment.ByCalendar(&f.View, &f.judged[i].Due)
		}
		r.Next = f.nextChange()
		f.quiet = f.drawQuiet()
		if f.quiet != nil {
			f.dropDerived()
		}
	}
}

// dropDerived frees what can be made again when it is asked for.
func (f *fold) dropDerived() {
	f.Rec.DropChains()
	f.Kept = nil
}

func (f *fold) nextChange() int64 {
	onClock := func(ar applies.Rule) bool { return ar.Rule.On&rules.OnClock != 0 }
	if f.Now.IsZero() || slices.ContainsFunc(f.Applied().Rules.Rules, onClock) {
		return 0
	}
	next := f.nextOfAlarms()
	for i := range f.judged {
		next = min(next, f.judged[i].calendar, moment.ByUsage(&f.View, &f.judged[i].Due))
	}
	chains := f.Rec.Chains()
	for i := range chains {
		next = min(next, moment.OfMeter(&f.View, &chains[i]))
	}
	return next
}

func (f *fold) nextOfAlarms() int64 {
	next := int64(math.MaxInt64)
	for i := range f.Rec.Alarms {
		next = min(next, f.Rec.Alarms[i].NextChange())
	}
	return next
}
