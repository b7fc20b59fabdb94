// Package history is what happened to a vehicle, in order, each with its source. It asks
// a [judge.View] and changes nothing.
package history

import (
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/stood"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Past is what a log holds of a vehicle beyond its record, which is bounded.
type Past struct {
	// Events of the vehicle in order of the log, at least its services, samples,
	// replaced meters, answers and voids; readings need not be among them.
	Events      []event.Event
	Transitions []alarm.Transition
	// Refused are the refusals of the vehicle's events.
	Refused []alarm.Refusal
}

// Only is what of it is of one vehicle, by all of its names; the first is that of its
// record.
func (past Past) Only(names []string) (out Past) {
	if len(names) == 0 {
		return out
	}
	for _, ev := range past.Events {
		if slices.Contains(names, ev.Vehicle) {
			out.Events = append(out.Events, ev)
		}
	}
	for _, t := range past.Transitions {
		if t.Home() == names[0] {
			out.Transitions = append(out.Transitions, t)
		}
	}
	for _, r := range past.Refused {
		if slices.Contains(names, r.Vehicle) {
			out.Refused = append(out.Refused, r)
		}
	}
	return out
}

// Entry is one thing in a vehicle's history, with where it came from.
type Entry struct {
	Vehicle string `json:"vehicle"`
	// What is vehicle, work, sample, reading, meter replaced, answer or alarm.
	What string    `json:"what"`
	Time time.Time `json:"time"` // when it was observed; of an alarm when it was told
	Date string    `json:"date"` // in the vehicle's zone
	// Text says it in a line.
	Text      string `json:"text"`
	Component string `json:"component,omitempty"`
	// Meters are the values read then, by the meter's name.
	Meters map[string]unit.Quantity `json:"meters,omitempty"`
	// Doubts are what of it was not believed or not used, and why.
	Doubts []string `json:"doubts,omitempty"`
	// Event is the source of it; of an alarm the first of the events that it rests on.
	Event *event.ID `json:"event,omitempty"`
	// TakenOut: a later event said that it was not so. It counts for nothing.
	TakenOut bool `json:"takenOut,omitempty"`

	// Reads, of the registration, are the units in which people read of the vehicle, as far
	// as it or whoever asked names them; what was reported is in these.
	Reads []string `json:"reads,omitempty"`

	Register *event.VehicleData       `json:"register,omitempty"`
	Work     *event.ServiceData       `json:"work,omitempty"`
	Sample   *event.SampleData        `json:"sample,omitempty"`
	Verdict  *stood.Verdict           `json:"verdict,omitempty"` // of a sample that the record keeps
	Replaced *event.MeterReplacedData `json:"replaced,omitempty"`
	Answer   *event.AnswerData        `json:"answer,omitempty"`
	Alarm    *alarm.Transition        `json:"alarm,omitempty"`
}

// The kinds of entries.
const (
	WhatVehicle  = "vehicle"
	WhatWork     = "work"
	WhatSample   = "sample"
	WhatReading  = "reading"
	WhatReplaced = "meter replaced"
	WhatAnswer   = "answer"
	WhatAlarm    = "alarm"
)

// Of is that of one vehicle that is registered.
func Of(v *judge.View) []Entry {
	rec := v.Rec
	h := &historian{vehicle: rec.Shown(), zone: rec.Registered().Location(), reads: v.Said(), seen: map[event.ID]bool{}, doubts: doubt.Of(v), void: map[event.ID]bool{}}
	for _, value := range rec.Voids {
		h.void[value.Target] = true
	}
	h.record(v, stood.All(v))
	return h.sorted()
}

// Extend adds to the history of a record what the log holds beyond it: older
// work and samples, replaced meters, answers, alarms, and what was doubted or taken
// out.
func Extend(list []Entry, past Past) []Entry {
	if len(list) == 0 {
		return nil
	}
	reads, _ := unit.SystemOf(list[0].Reads) // of a view
	h := &historian{vehicle: list[0].Vehicle, zone: list[0].Register.Location(), reads: reads, seen: map[event.ID]bool{}, doubts: map[event.ID][]string{}, void: map[event.ID]bool{}}
	refused := past.sort(h)
	for _, e := range list {
		if e.Event != nil {
			h.seen[*e.Event] = true
			e.TakenOut = e.TakenOut || h.void[*e.Event]
			e.Doubts = append(slices.Clone(e.Doubts), h.doubts[*e.Event]...)
		}
		h.entries = append(h.entries, e)
	}
	present := list[0].Register.Present()
	for _, ev := range past.Events {
		if !refused[ev.ID] {
			ev.Data = present.Data(ev.Data)
			h.event(ev)
		}
	}
	said := slices.Clone(past.Transitions)
	for i := range said {
		if reads != (unit.System{}) {
			said[i] = *said[i].Worded(reads)
		}
		said[i].Vehicle, said[i].Component = h.vehicle, present.Component(said[i].Component)
	}
	h.alarms(said)
	return h.sorted()
}

// sort finds what was refused whole, and tells the historian what was doubted and
// taken out.
func (past *Past) sort(h *historian) (refused map[event.ID]bool) {
	refused = map[event.ID]bool{}
	for _, r := range past.Refused {
		switch {
		case r.Event == nil:
		case r.Kept:
			if d := h.doubts[*r.Event]; !slices.Contains(d, r.Refused) {
				h.doubts[*r.Event] = append(d, r.Refused)
			}
		case r.Class != event.Conflict: // which is of a second event; the first was used
			refused[*r.Event] = true
		}
	}
	for _, ev := range past.Events {
		if d, ok := ev.Data.(*event.VoidData); ok && !refused[ev.ID] {
			h.void[event.ID(*d)] = true
		}
	}
	return refused
}

// historian collects the entries of one vehicle.
type historian struct {
	vehicle string
	zone    *time.Location
	reads   unit.System // in which people read of it
	entries []Entry
	seen    map[event.ID]bool // events that have an entry
	doubts  map[event.ID][]string
	void    map[event.ID]bool
}

// sorted gives the entries in order of time, the registration first.
func (h *historian) sorted() []Entry {
	slices.SortStableFunc(h.entries[1:], func(a, b Entry) int { return a.Time.Compare(b.Time) })
	return h.entries
}

// add takes an entry in, once for an event.
func (h *historian) add(e Entry, at time.Time, id event.ID) {
	if id != (event.ID{}) {
		if h.seen[id] {
			return
		}
		h.seen[id] = true
		e.Event, e.TakenOut, e.Doubts = &id, h.void[id], h.doubts[id]
	}
	e.Vehicle, e.Time = h.vehicle, at.UTC()
	if e.Date == "" {
		e.Date = interval.DateOf(at, h.zone).String()
	}
	h.entries = append(h.entries, e)
}

// record takes in what the record holds.
func (h *historian) record(v *judge.View, verdicts map[event.ID]stood.Verdict) {
	r := v.Rec
	for i := len(r.Register) - 1; i >= 0; i-- {
		if g := &r.Register[i]; !g.Void {
			d := event.ReadIn(h.reads, g.VehicleData).(*event.VehicleData)
			h.add(Entry{What: WhatVehicle, Register: d, Text: registerWords(d), Reads: h.reads.Names()}, time.Unix(0, g.At), g.ID)
			break
		}
	}
	for i := range r.Services {
		h.work(r.Services[i].ServiceData, time.Unix(0, r.Services[i].At), r.Services[i].ID)
	}
	for i := range r.Samples {
		s := &r.Samples[i]
		h.sample(s.SampleData, verdicts[s.ID], time.Unix(0, s.At), s.ID)
	}
	for i := range r.Postponed {
		h.answer(r.Postponed[i].AnswerData, time.Unix(0, r.Postponed[i].At), r.Postponed[i].ID)
	}
	h.readings(v)
}

// event takes in an event of the log.
func (h *historian) event(ev event.Event) {
	switch d := ev.Data.(type) {
	case *event.ServiceData:
		h.work(d, ev.Time, ev.ID)
	case *event.SampleData:
		h.sample(d, stood.Verdict{}, ev.Time, ev.ID)
	case *event.MeterReplacedData:
		d = event.ReadIn(h.reads, d).(*event.MeterReplacedData)
		h.add(Entry{What: WhatReplaced, Replaced: d, Text: replacedWords(d)}, ev.Time, ev.ID)
	case *event.AnswerData:
		h.answer(d, ev.Time, ev.ID)
	}
}

func (h *historian) work(d *event.ServiceData, at time.Time, id event.ID) {
	d = event.ReadIn(h.reads, d).(*event.ServiceData)
	h.add(Entry{What: WhatWork, Work: d, Component: d.Component, Meters: d.Meters, Text: workWords(d)}, at, id)
}

func (h *historian) answer(d *event.AnswerData, at time.Time, id event.ID) {
	d = event.ReadIn(h.reads, d).(*event.AnswerData)
	h.add(Entry{What: WhatAnswer, Answer: d, Component: d.Component, Text: answerWords(d)}, at, id)
}

// sample takes a sample in; v has no stage where the record does not keep it.
func (h *historian) sample(d *event.SampleData, v stood.Verdict, at time.Time, id event.ID) {
	d = event.ReadIn(h.reads, d).(*event.SampleData)
	e := Entry{What: WhatSample, Sample: d, Component: d.Component, Meters: d.Meters, Text: english.Capital(d.What())}
	if v.Stage != "" && !h.void[id] {
		e.Verdict = &v
		e.Text += ": " + v.Words()
	}
	if len(d.Drawn) == len(time.DateOnly) {
		e.Date = d.Drawn
	}
	h.add(e, at, id)
}

// readings takes in the meter values that are not those of work or samples.
func (h *historian) readings(v *judge.View) {
	chains := v.Rec.Chains()
	for i := range chains {
		c := &chains[i]
		for _, p := range c.Points {
			if p.Own {
				continue
			}
			value, u := v.Shown(p.Face, c.Hours)
			q := unit.Quantity{Value: value, Unit: u}
			h.add(Entry{What: WhatReading, Meters: map[string]unit.Quantity{c.Name: q}, Text: english.Capital(c.Name) + " " + english.Quantity(&q)},
				time.Unix(0, p.At), p.ID)
		}
	}
}

// alarms takes in what was said, but for what an answer says itself.
func (h *historian) alarms(said []alarm.Transition) {
	for i := range said {
		t := &said[i]
		answered := t.Transition == alarm.NowAcknowledged || t.Transition == alarm.NowShelved || t.Transition == alarm.Unshelved
		if len(t.Events) > 0 && answered && h.seen[t.Events[0]] {
			continue
		}
		h.add(Entry{What: WhatAlarm, Alarm: t, Component: t.Component, Text: alarmWords(t)}, t.Time, event.ID{})
		if len(t.Events) > 0 {
			h.entries[len(h.entries)-1].Event = &t.Events[0]
		}
	}
}
