package engine

import (
	"fmt"
	"slices"
	"strings"
	"telltale/engine/interval"
	"telltale/engine/meter"
	"time"
)

// NotTheirs is the data alarm of a vehicle of which someone hears says that it is
// not theirs. It stands while the register names that person, or else until it is
// acknowledged: then the list of people is what had to be put right.
const NotTheirs = "data: not their vehicle"

// The data alarms: what is wrong with what the vehicle reports.
const (
	dataImplausible = "data: implausible reading"
	dataGoingBack   = "data: meter going back"
	dataSilent      = "data: silent"
)

var dataTitles = map[string]string{
	dataImplausible: "Implausible reading", dataGoingBack: "Meter going back", dataSilent: "No readings",
	NotTheirs: "Not their vehicle",
}

const (
	lookAtMeter = "Look at the instrument and send the right reading, or void the wrong one."
	fitsAgain   = "The readings fit again"
)

// judgeMeters raises the data alarms. One on a reading stands while the last
// reading of a meter is disputed; a later one that fits clears it.
func (f *fold) judgeMeters() {
	chains := f.rec.allChains()
	var back, odd []string
	var backIDs, oddIDs []ID
	for i := range chains {
		c := &chains[i]
		if len(c.points) == 0 || c.points[len(c.points)-1].accepted {
			continue
		}
		p := c.points[len(c.points)-1]
		if last, ok := c.last(p.at); ok && last.face-p.face > 0 && last.face-p.face < c.wholeUnit() {
			continue // written in whole units after one with decimals
		}
		text := f.disputedText(c, p)
		if p.why == meter.GoingBack {
			back, backIDs = append(back, text), append(backIDs, p.id)
		} else {
			odd, oddIDs = append(odd, text), append(oddIDs, p.id)
		}
	}
	f.dataMove(dataGoingBack, back, backIDs, lookAtMeter, fitsAgain)
	f.dataMove(dataImplausible, odd, oddIDs, lookAtMeter, fitsAgain)
	f.judgeSilence()
}

func (f *fold) judgeSilence() {
	var silent []string
	if !f.Now.IsZero() {
		chains := f.rec.allChains()
		for i := range chains {
			c := &chains[i]
			if since, ok := meter.Silent(c.moments(), f.rec.inSince(), f.Now.Unix()); ok {
				silent = append(silent, fmt.Sprintf("The %s has not been read since %s", c.name, interval.DateOf(time.Unix(since, 0), f.applied().zone)))
			}
		}
	}
	f.dataMove(dataSilent, silent, nil, "Check the gateway, or enter a reading by hand; take the vehicle out of service if it is laid up.", "Readings come again")
}

// dataMove asks for a data alarm at advisory while there is something to say.
func (f *fold) dataMove(rule string, texts []string, ids []ID, advise, over string) {
	stage := 0
	if len(texts) > 0 {
		stage = 1
	}
	k := AlarmKey{Rule: rule}
	if stage == 0 && f.rec.alarm(k) == nil {
		return // as nearly always
	}
	f.move(alarmMove{AlarmKey: k, stage: stage, words: func(t *Transition, from, to int) {
		t.Events = append(ids, f.causeIDs()...)
		if len(ids) > 0 && len(f.causeIDs()) > 0 && ids[0] == f.ev.ID {
			t.Events = ids
		}
		t.Message, t.Title = over, dataTitles[rule]
		if to > 0 {
			t.Message, t.Advise = strings.Join(texts, ". "), advise
		}
	}})
}

// disown notes that a vehicle is not someone's.
func (f *fold) disown(d *AnswerData) error {
	said := func(o disowned) bool { return o.By == d.By }
	if slices.ContainsFunc(f.rec.NotTheirs, said) {
		return Refuse("%s has said so already", d.By)
	}
	if len(f.rec.NotTheirs) >= keptDisowned {
		return Refuse("%d people have said already that vehicle %s is not theirs", keptDisowned, f.rec.Vehicle)
	}
	f.rec.NotTheirs = append(slices.Clip(f.rec.NotTheirs), disowned{d.By, f.ev.ID, f.named(d.By)})
	f.change.Fact = true
	return nil
}

// seenTo forgets who is not named by the register, once someone has acknowledged.
func (f *fold) seenTo() {
	f.dropDisowned(func(o disowned) bool { return !f.named(o.By) })
	f.change.Fact = true
}

func (f *fold) dropDisowned(drop func(disowned) bool) {
	f.rec.NotTheirs = slices.DeleteFunc(slices.Clone(f.rec.NotTheirs), drop)
}

func (f *fold) named(person string) bool {
	reg := f.rec.registered()
	return reg != nil && slices.Contains(reg.People, person)
}

// judgeDisowned raises the alarm; a registration that leaves out whoever it named
// ends it.
func (f *fold) judgeDisowned() {
	if len(f.rec.NotTheirs) == 0 && f.rec.alarm(AlarmKey{Rule: NotTheirs}) == nil {
		return
	}
	if f.ev.Kind == VehicleEvent {
		f.dropDisowned(func(o disowned) bool { return o.Named && !f.named(o.By) })
	}
	var texts []string
	var ids []ID
	for _, o := range f.rec.NotTheirs {
		texts, ids = append(texts, fmt.Sprintf("%s says that this vehicle is not theirs", o.By)), append(ids, o.ID)
	}
	f.dataMove(NotTheirs, texts, ids, "Look at who the register and people.yaml name for it.", "Who hears of it was put right")
}
