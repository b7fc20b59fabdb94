package engine

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/moment"
	"telltale/engine/record"
)

// NotTheirs is the data alarm of a vehicle of which someone hears says that it is
// not theirs. It stands while the register names that person, or else until it is
// acknowledged: then the list of people is what had to be put right.
const NotTheirs = "data: not their vehicle"

// The data alarms: what is wrong with what the vehicle reports.
const (
	dataImplausible = "data: implausible reading"
)

var dataTitles = map[string]string{
	dataImplausible: "Implausible reading", doubt.GoingBack: "Meter going back", moment.DataSilent: "No readings",
	NotTheirs: "Not their vehicle",
}

func (f *fold) judgeSilence() {
	var silent []string
	if !f.Now.IsZero() {
		chains := f.Rec.Chains()
		for i := range chains {
			c := &chains[i]
			if since, ok := moment.Patience(f.Book).Silent(c.Moments(), moment.Wait(&f.View), f.Now.Unix()); ok {
				silent = append(silent, fmt.Sprintf("The %s has not been read since %s", c.Name, interval.DateOf(time.Unix(since, 0), f.Applied().Zone)))
			}
		}
	}
	over := "Readings arrive again"
	if f.ev.Kind == event.BookEvent {
		over = "By the new rules, not silent for too long"
	}
	f.dataMove(moment.DataSilent, silent, nil, "Check the gateway, or enter a reading by hand. If the vehicle is laid up, take it out of service.", over)
}

// dataMove asks for a data alarm at advisory while there is something to say. One that
// stands says what holds now: nothing else is told when that changes.
func (f *fold) dataMove(rule string, texts []string, ids []event.ID, advise, over string) {
	stage := 0
	if len(texts) > 0 {
		stage = 1
	}
	k := alarm.Key{Rule: rule}
	if stage == 0 && f.Rec.Alarm(k) == nil {
		return // as nearly always
	}
	said := strings.Join(texts, ". ")
	if a := f.Rec.Alarm(k); a != nil && a.Stage > 0 && stage > 0 {
		now := *a
		now.Last.Message, now.Last.Advise = said, advise
		if now.Last.Settle(f.Units()); now.Last.Message != a.Last.Message {
			f.Rec.SetAlarm(now)
		}
	}
	f.move(alarmMove{Key: k, stage: stage, words: func(t *alarm.Transition, from, to int) {
		t.Events = append(ids, f.causeIDs()...)
		if len(ids) > 0 && len(f.causeIDs()) > 0 && ids[0] == f.ev.ID {
			t.Events = ids
		}
		t.Message, t.Title = over, dataTitles[rule]
		if to > 0 {
			t.Message, t.Advise = said, advise
		}
	}})
}

// disown notes that a vehicle is not someone's.
func (f *fold) disown(d *event.AnswerData) error {
	said := func(o record.Disowned) bool { return o.By == d.By }
	if slices.ContainsFunc(f.Rec.NotTheirs, said) {
		return event.Refuse("%s has already said so", d.By)
	}
	if len(f.Rec.NotTheirs) >= record.KeptDisowned {
		return event.Refuse("%d people have already said that vehicle %s is not theirs", record.KeptDisowned, f.Rec.Shown())
	}
	f.Rec.NotTheirs = append(slices.Clip(f.Rec.NotTheirs), record.Disowned{By: d.By, ID: f.ev.ID, Named: f.named(d.By)})
	f.change.Fact = true
	return nil
}

// seenTo forgets who is not named by the register, once someone has acknowledged.
func (f *fold) seenTo() {
	f.dropDisowned(func(o record.Disowned) bool { return !f.named(o.By) })
	f.change.Fact = true
}

func (f *fold) dropDisowned(drop func(record.Disowned) bool) {
	f.Rec.NotTheirs = slices.DeleteFunc(slices.Clone(f.Rec.NotTheirs), drop)
}

func (f *fold) named(person string) bool {
	reg := f.Rec.Registered()
	return reg != nil && slices.Contains(reg.People, person)
}

// judgeDisowned raises the alarm; a registration that leaves out whoever it named
// ends it.
func (f *fold) judgeDisowned() {
	if len(f.Rec.NotTheirs) == 0 && f.Rec.Alarm(alarm.Key{Rule: NotTheirs}) == nil {
		return
	}
	if f.ev.Kind == event.VehicleEvent {
		f.dropDisowned(func(o record.Disowned) bool { return o.Named && !f.named(o.By) })
	}
	var texts []string
	var ids []event.ID
	for _, o := range f.Rec.NotTheirs {
		texts, ids = append(texts, fmt.Sprintf("%s says that this vehicle is not theirs", o.By)), append(ids, o.ID)
	}
	f.dataMove(NotTheirs, texts, ids, "Check who is named for it in the register and in people.yaml.", "The people named for it were corrected")
}
