package engine

import (
	"slices"
	"telltale/engine/interval"
	"telltale/rules/english"
	"telltale/rules/unit"
	"time"
)

// Past is what a log holds of a vehicle beyond its record, which is bounded.
type Past struct {
	// Events of the vehicle in order of the log, at least its services, samples,
	// replaced meters, answers and voids; readings need not be among them.
	Events      []Event
	Transitions []Transition
	// Refused are the refusals of the vehicle's events.
	Refused []Refusal
}

// HistoryEntry is one thing in a vehicle's history, with where it came from.
type HistoryEntry struct {
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
	Event *ID `json:"event,omitempty"`
	// TakenOut: a later event said that it was not so. It counts for nothing.
	TakenOut bool `json:"takenOut,omitempty"`

	Register *VehicleData       `json:"register,omitempty"`
	Work     *ServiceData       `json:"work,omitempty"`
	Sample   *SampleData        `json:"sample,omitempty"`
	Verdict  *HistoryVerdict    `json:"verdict,omitempty"` // of a sample that the record keeps
	Replaced *MeterReplacedData `json:"replaced,omitempty"`
	Answer   *AnswerData        `json:"answer,omitempty"`
	Alarm    *Transition        `json:"alarm,omitempty"`
}

// HistoryVerdict is what stood by the rules in force once the sample was judged.
type HistoryVerdict struct {
	Stage     string          `json:"stage"` // the worst of those that stand
	Stands    []HistoryStands `json:"stands,omitempty"`
	NotJudged []string        `json:"notJudged,omitempty"` // rules that lacked something
	Judged    int             `json:"judged"`
	Book      string          `json:"book"`
}

// HistoryStands is one rule that stood.
type HistoryStands struct {
	Rule  string `json:"rule"`
	Stage string `json:"stage"`
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

// historyOf is that of one vehicle that is registered.
func historyOf(f *view) []HistoryEntry {
	rec := f.rec
	h := &historian{vehicle: rec.Vehicle, zone: rec.registered().zone(), seen: map[ID]bool{}, doubts: rec.disputedReadings(), void: map[ID]bool{}}
	for _, v := range rec.Voids {
		h.void[v.Target] = true
	}
	h.record(f, judgedSamples(f))
	return h.sorted()
}

// ExtendHistory adds to the history of a record what the log holds beyond it: older
// work and samples, replaced meters, answers, alarms, and what was doubted or taken
// out.
func ExtendHistory(list []HistoryEntry, past Past) []HistoryEntry {
	if len(list) == 0 {
		return nil
	}
	h := &historian{vehicle: list[0].Vehicle, zone: list[0].Register.zone(), seen: map[ID]bool{}, doubts: map[ID][]string{}, void: map[ID]bool{}}
	refused := past.sort(h)
	for _, e := range list {
		if e.Event != nil {
			h.seen[*e.Event] = true
			e.TakenOut = e.TakenOut || h.void[*e.Event]
			e.Doubts = append(slices.Clone(e.Doubts), h.doubts[*e.Event]...)
		}
		h.entries = append(h.entries, e)
	}
	for _, ev := range past.Events {
		if !refused[ev.ID] {
			h.event(ev)
		}
	}
	h.alarms(past.Transitions)
	return h.sorted()
}

// sort finds what was refused whole, and tells the historian what was doubted and
// taken out.
func (past *Past) sort(h *historian) (refused map[ID]bool) {
	refused = map[ID]bool{}
	for _, r := range past.Refused {
		switch {
		case r.Event == nil:
		case r.Kept:
			if d := h.doubts[*r.Event]; !slices.Contains(d, r.Refused) {
				h.doubts[*r.Event] = append(d, r.Refused)
			}
		case r.Class != Conflict: // which is of a second event; the first was used
			refused[*r.Event] = true
		}
	}
	for _, ev := range past.Events {
		if d, ok := ev.Data.(*VoidData); ok && !refused[ev.ID] {
			h.void[ID(*d)] = true
		}
	}
	return refused
}

// historian collects the entries of one vehicle.
type historian struct {
	vehicle string
	zone    *time.Location
	entries []HistoryEntry
	seen    map[ID]bool // events that have an entry
	doubts  map[ID][]string
	void    map[ID]bool
}

// sorted gives the entries in order of time, the registration first.
func (h *historian) sorted() []HistoryEntry {
	slices.SortStableFunc(h.entries[1:], func(a, b HistoryEntry) int { return a.Time.Compare(b.Time) })
	return h.entries
}

// add takes an entry in, once for an event.
func (h *historian) add(e HistoryEntry, at time.Time, id ID) {
	if id != (ID{}) {
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
func (h *historian) record(f *view, verdicts map[ID]HistoryVerdict) {
	r := f.rec
	for i := len(r.Register) - 1; i >= 0; i-- {
		if g := &r.Register[i]; !g.Void {
			h.add(HistoryEntry{What: WhatVehicle, Register: g.VehicleData, Text: registerWords(g.VehicleData)}, time.Unix(0, g.At), g.ID)
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
	h.readings(f)
}

// event takes in an event of the log.
func (h *historian) event(ev Event) {
	switch d := ev.Data.(type) {
	case *ServiceData:
		h.work(d, ev.Time, ev.ID)
	case *SampleData:
		h.sample(d, HistoryVerdict{}, ev.Time, ev.ID)
	case *MeterReplacedData:
		h.add(HistoryEntry{What: WhatReplaced, Replaced: d, Text: replacedWords(d)}, ev.Time, ev.ID)
	case *AnswerData:
		h.answer(d, ev.Time, ev.ID)
	}
}

func (h *historian) work(d *ServiceData, at time.Time, id ID) {
	h.add(HistoryEntry{What: WhatWork, Work: d, Component: d.Component, Meters: d.Meters, Text: workWords(d)}, at, id)
}

func (h *historian) answer(d *AnswerData, at time.Time, id ID) {
	h.add(HistoryEntry{What: WhatAnswer, Answer: d, Component: d.Component, Text: answerWords(d)}, at, id)
}

// sample takes a sample in; v has no stage where the record does not keep it.
func (h *historian) sample(d *SampleData, v HistoryVerdict, at time.Time, id ID) {
	e := HistoryEntry{What: WhatSample, Sample: d, Component: d.Component, Meters: d.Meters, Text: english.Capital(sampleWords(d))}
	if v.Stage != "" && !h.void[id] {
		e.Verdict = &v
		e.Text += ": " + verdictWords(&v)
	}
	if len(d.Drawn) == len(time.DateOnly) {
		e.Date = d.Drawn
	}
	h.add(e, at, id)
}

// readings takes in the meter values that are not those of work or samples.
func (h *historian) readings(f *view) {
	chains := f.rec.allChains()
	for i := range chains {
		c := &chains[i]
		for _, p := range c.points {
			if p.own {
				continue
			}
			v, u := f.shown(p.face, c.hours)
			q := unit.Quantity{Value: v, Unit: u}
			h.add(HistoryEntry{What: WhatReading, Meters: map[string]unit.Quantity{c.name: q}, Text: english.Capital(c.name) + " " + english.Quantity(&q)},
				time.Unix(0, p.at), p.id)
		}
	}
}

// alarms takes in what was said, but for what an answer says itself.
func (h *historian) alarms(said []Transition) {
	for i := range said {
		t := &said[i]
		answered := t.Transition == acked || t.Transition == shelvedNow || t.Transition == unshelved
		if len(t.Events) > 0 && answered && h.seen[t.Events[0]] {
			continue
		}
		h.add(HistoryEntry{What: WhatAlarm, Alarm: t, Component: t.Component, Text: alarmWords(t)}, t.Time, ID{})
		if len(t.Events) > 0 {
			h.entries[len(h.entries)-1].Event = &t.Events[0]
		}
	}
}
