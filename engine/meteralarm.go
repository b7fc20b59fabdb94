package engine

import (
	"fmt"
	"strings"
	"time"

	"telltale/engine/interval"
	"telltale/engine/meter"
	"telltale/rules/unit"
)

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
	f.rec.ensureChains()
	var back, odd []string
	var backIDs, oddIDs []ID
	for i := range f.rec.chains {
		c := &f.rec.chains[i]
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

// wholeUnit is the coarsest unit in which people write the meter's values.
func (c *chain) wholeUnit() float64 {
	if c.hours {
		return 3600
	}
	return unit.Mile
}

func (f *view) disputedText(c *chain, p chainPoint) string {
	text := fmt.Sprintf("The %s reads %s", c.name, f.face(c, p.face))
	if last, ok := c.last(p.at); ok {
		text += fmt.Sprintf(" after %s on %s", f.face(c, last.face), interval.DateOf(time.Unix(0, last.at), f.applied().zone))
	}
	if p.meant != "" {
		text += "; " + p.meant
	}
	return text
}

func (f *fold) judgeSilence() {
	var silent []string
	if !f.Now.IsZero() {
		for i := range f.rec.chains {
			c := &f.rec.chains[i]
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
	if stage == 0 && f.rec.alarm(k) < 0 {
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
