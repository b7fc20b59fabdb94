package engine

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/event"
	"telltale/engine/latch"
)

// Describe gives a record's facts, latches and standing stages as text, without
// what hangs on the order of the log: since when, by which answer, in which words.
func (p *Partition) Describe(vehicle string) string {
	var b strings.Builder
	r := *p.record(vehicle)
	for _, a := range r.Alarms {
		// One that was seen between two that fit stands on; where it came later, it may have
		// been thinned out at once.
		if _, open := r.WentBack(); a.Rule == doubt.GoingBack && !open {
			continue
		}
		if a.Stage > 0 {
			fmt.Fprintf(&b, "%s %s %s\n", a.Rule, a.Component, a.StageName(a.Stage))
		}
	}
	for _, l := range r.Latches {
		// Which of several thinned readings reached a stage first is not told apart.
		l.Judged = event.ID{}
		if l.Rule == "high use" {
			l.Reached = event.ID{}
		}
		text, _ := json.Marshal(l)
		fmt.Fprintf(&b, "%s\n", text)
	}
	r.Alarms, r.Latches, r.FirstSeen, r.Answers, r.Next = nil, nil, 0, nil, 0
	r.Meters = slices.Clone(r.Meters)
	for i := range r.Meters { // what is held, too, hangs on what was seen when
		m := &r.Meters[i]
		m.Readings = slices.Clone(m.Readings)
		for j := range m.Readings {
			m.Readings[j].Held = false
		}
	}
	text, _ := json.Marshal(r.Thinned())
	fmt.Fprintf(&b, "%s\n", text)
	return b.String()
}

// JudgeAll has every reading judged, and every vehicle looked at by each tick.
func (p *Partition) JudgeAll() { p.judgeAll = true }

// Quietly is how many readings were taken without judging.
func (p *Partition) Quietly() int { return p.quietly }

// Next is when a tick may change something on the vehicle, Unix seconds.
func (p *Partition) Next(vehicle string) int64 { return p.record(vehicle).Next }

// Standing is what stands on the vehicle: its alarms, and how far its rules have got.
func (p *Partition) Standing(vehicle string) ([]alarm.Alarm, []latch.Latch) {
	r := p.record(vehicle)
	return slices.Clone(r.Alarms), slices.Clone(r.Latches)
}

// DropLists takes all out of the lists, to see what they take.
func (p *Partition) DropLists() {
	for _, r := range p.records {
		r.card = nil
	}
	p.lists = newLists()
}
