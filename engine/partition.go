// Package engine turns what happened into what is wrong. Everything that happens is an
// event; a vehicle's record is a fold over its events; an alarm is a consequence. A
// [Partition] folds the events of many vehicles, and answers what people ask by the
// packages below: due, why, sample and history. It does no I/O and knows no clock: now
// is the last tick in log order, so the same events always give the same transitions.
package engine

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intern"
	"telltale/engine/judge"
	"telltale/engine/listing"
	"telltale/engine/meter"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/applies"
)

// Partition folds the events of many vehicles from one log. It is not safe for
// concurrent use; what it gives back is never changed afterwards.
type Partition struct {
	// Elsewhere reports whether the record of a name is another partition's; nil where this
	// one holds all. Where it is not nil, what comes under one name and belongs to another is
	// an output.
	Elsewhere func(name string) bool
	// Rename completes an event that is handed over under another name, as its digest;
	// nil leaves it as it is.
	Rename func(event.Event) event.Event

	// By is in whose units it writes and answers; the zero Asker of a service's own fold
	// leaves it to the vehicles and the book.
	By Asker

	records map[string]*vehicle
	packed  map[string]packed // and those that are stored, if nothing was asked of them yet
	err     error             // one of them could not be read
	law     judge.Law
	// former is the book before the one that is being put in force; nil at any other time.
	former *rules.Book
	fleet  fleet.InForce
	// asks is what the book in force asks of the fleet's samples.
	asks     string
	alone    *alone // not nil: it makes the fleet's baselines by itself
	changed  map[string]bool
	slots    slots // vehicles by their next change
	work     fold  // the one under way, kept for its room
	interned intern.Pool
	// judgeAll has every reading judged and every vehicle looked at by each tick, for
	// tests of what goes without.
	judgeAll bool
	quietly  int           // readings taken without judging
	paused   alarm.Backlog // what the tick under way is part of
	active   active
	lists    lists
	hops     int       // names that the event under way was handed over by
	turned   *TurnPart // the last list; nil where something was folded or loaded since
}

// vehicle is a record with what is derived from it and never stored.
type vehicle struct {
	record.Record
	// applied is what of the book in force applies; nil when it must be asked again.
	applied *judge.Applied
	// quiet bounds the readings that change nothing; nil where each must be judged.
	quiet *quiet
	// turn is the vehicle's place in the order of Next.
	slot *slot
	card *listing.Card // what the lists have of it; nil where it is not registered
}

// unregisteredFor is how long the events of a vehicle are kept that nobody registers.
const unregisteredFor = 90 * 24 * time.Hour

// NewPartition returns one that has folded nothing: no vehicles, no book, no tick.
func NewPartition() *Partition {
	return &Partition{records: map[string]*vehicle{}, changed: map[string]bool{}, lists: newLists()}
}

// Now is the last tick; zero before the first.
func (p *Partition) Now() time.Time { return p.law.Now }

// Book is the book in force; nil before the first.
func (p *Partition) Book() *rules.Book { return p.law.Book }

// Apply folds one event and tells what follows, in order. It never panics: an
// event whose folding does becomes a refusal and changes nothing.
func (p *Partition) Apply(ev event.Event) []Output {
	ev.ID.Source = p.interned.Word(ev.ID.Source)
	if _, turn := ev.Data.(*event.TurnData); !turn {
		p.turned = nil
	}
	switch d := ev.Data.(type) {
	case *event.VehicleData:
		ev.Data = p.interned.Registration(d)
	case *event.BookData:
		return p.adopt(ev, d.Book)
	case *event.TurnData:
		return []Output{{Turn: p.turn(d)}}
	case *fleet.SurveyData:
		return []Output{{Survey: p.survey(ev, d)}}
	case *fleet.BaselineData:
		p.RestoreBaselines(d.Hash, d.Set)
		return nil
	case *record.MergeData:
		return p.merge(ev, d)
	}
	if ev.Kind == event.TickEvent {
		out := p.tick(ev)
		p.surveyAlone()
		return out
	}
	if r := p.record(ev.Vehicle); r != nil && !p.judgeAll && p.takeQuietly(r, &ev) {
		p.changed[ev.Vehicle] = true
		p.slots.schedule(r)
		p.quietly++
		return nil
	}
	if out, ok := p.passOn(ev); ok {
		return out
	}
	out, err := p.foldInto(ev.Vehicle, ev, false)
	if err != nil {
		return []Output{{Refused: p.refused(ev, err)}}
	}
	return out
}

func (p *Partition) refused(ev event.Event, err error) *alarm.Refusal {
	id := ev.ID
	r := &alarm.Refusal{Refused: err.Error(), Line: ev.Line, Vehicle: p.shown(ev.Vehicle), Event: &id, Time: p.moment(ev)}
	if why, ok := errors.AsType[*event.Refused](err); ok {
		r.Class = why.Class
	}
	return r
}

// moment is the time of what an event brings about.
func (p *Partition) moment(ev event.Event) time.Time {
	t := ev.Time
	for _, o := range []time.Time{ev.Recorded, p.law.Now} {
		if o.After(t) {
			t = o
		}
	}
	return t.UTC()
}

// foldInto folds the event into one vehicle's record. Where it is refused the
// record stays as it was.
func (p *Partition) foldInto(name string, ev event.Event, anew bool) (out []Output, err error) {
	old := p.record(name)
	next := vehicle{Record: record.Record{Vehicle: name, FirstSeen: p.moment(ev).UnixNano()}}
	if old != nil {
		next = *old // they share their lists, which are never changed in place
	}
	defer func() {
		if r := recover(); r != nil {
			if old != nil {
				old.DropChains() // all may be half changed
				old.applied, old.quiet = nil, nil
			}
			out, err = nil, event.RefuseAs(event.Fault, "a fault of this program in processing it: %v", r)
		}
	}()
	f := &p.work
	// One fold serves all events, for the room that it has: a reading would else allocate
	// more than it takes to judge it.
	*f = fold{p: p, ev: ev, View: f.View, judged: f.judged[:0], moves: f.moves[:0]}
	f.Anew(&p.law, &next.Record, p.moment(ev), next.applied)
	f.Reader.Marked = true // nobody knows yet who will read what it says
	f.Reader.Units = p.By.Units
	f.change.All = anew
	if err := f.apply(); err != nil {
		return nil, err
	}
	next.applied, next.quiet = f.Kept, f.quiet
	if old != nil {
		p.active.move(old.Alarms, next.Alarms)
	} else {
		p.active.add(next.Alarms, 1)
	}
	p.list(&next, f.whole, f.judged)
	p.records[name] = &next
	p.changed[name] = true
	p.slots.schedule(&next)
	return f.out, nil
}

// tick moves now on and looks at the vehicles that can change by it, in order of
// name. A clock that went back has all of them looked at.
func (p *Partition) tick(ev event.Event) []Output {
	back := ev.Time.Before(p.law.Now)
	p.paused = 0
	switch {
	case p.law.Now.IsZero():
		p.paused = alarm.Registered // the first look at the calendar
	case meter.Pause(p.law.Now.Unix(), ev.Time.Unix()):
		p.law.Resumed, p.paused = ev.Time.Unix(), alarm.ClockPaused
	}
	p.law.Now = ev.Time.UTC()
	p.law.Resumed = min(p.law.Resumed, p.law.Now.Unix()) // of a clock that was put back
	var list []string
	if back || p.judgeAll { // the slots are in order of moments that may all lie ahead again
		list = p.Vehicles()
	} else {
		list = p.slots.upTo(p.law.Now.Unix(), p.nextOf)
	}
	var out []Output
	for _, v := range list {
		r := p.record(v)
		if r.Registered() == nil && p.law.Now.Sub(time.Unix(0, r.FirstSeen)) > unregisteredFor {
			p.slots.forget(r)
			p.active.add(r.Alarms, -1)
			p.unlist(r)
			delete(p.records, v)
			p.changed[v] = true
			continue
		}
		out = append(out, p.each(v, ev, false)...)
		p.slots.schedule(p.record(v)) // also where folding it was refused
	}
	return out
}

// adopt puts a book in force and judges every vehicle by it.
func (p *Partition) adopt(ev event.Event, b *rules.Book) []Output {
	p.former = p.law.Book
	defer func() { p.former = nil }()
	p.setBook(b)
	var out []Output
	for _, v := range p.Vehicles() {
		out = append(out, p.each(v, ev, true)...)
	}
	return out
}

func (p *Partition) setBook(b *rules.Book) {
	p.law.Book, p.turned = b, nil
	p.law.Judge, p.law.Shorten, p.law.Applies, p.asks = nil, nil, nil, ""
	if b != nil {
		p.asks = b.AsksFleet()
		p.law.Judge, p.law.Shorten, p.law.Applies = rules.NewJudge(b), rules.NewJudge(b), applies.NewFinder(b)
	}
}

func (p *Partition) each(v string, ev event.Event, anew bool) []Output {
	out, err := p.foldInto(v, ev, anew)
	if err != nil {
		ev.Vehicle = v
		return []Output{{Refused: p.refused(ev, err)}}
	}
	return out
}

// Encode gives the vehicle's record as it is stored: JSON, the same bytes for the
// same facts.
func (p *Partition) Encode(vehicle string) ([]byte, error) {
	r := p.record(vehicle)
	if r == nil {
		return nil, fmt.Errorf("vehicle %q has no record", vehicle)
	}
	return json.Marshal(r.Thinned())
}

// Resumed is when the clock last went on after a pause, Unix seconds; 0 for never. It is
// part of a checkpoint, and Resume sets it as that has it.
func (p *Partition) Resumed() int64 { return p.law.Resumed }

// Resume sets when the clock last went on after a pause.
func (p *Partition) Resume(at int64) { p.law.Resumed = at }

// Restore sets the last tick and the book in force as a checkpoint has them,
// without judging anything.
func (p *Partition) Restore(now time.Time, b *rules.Book) {
	p.law.Now = now
	p.setBook(b)
}

// Changed returns the vehicles whose records changed since it was last called,
// in order of name. One that Encode does not know is gone.
func (p *Partition) Changed() []string {
	out := slices.Sorted(maps.Keys(p.changed))
	if len(out) > 1 {
		p.changed = map[string]bool{} // one that once held a fleet takes as long to look through when it is empty
	}
	clear(p.changed)
	return out
}

// TurnPart is one partition's part of a digest's due list, as its records stood
// at the turn's place in the log.
type TurnPart struct {
	Digest   string         `json:"digest"`
	Date     string         `json:"date"`
	Now      time.Time      `json:"now"`
	Items    []due.Item     `json:"items"`
	Alarms   []alarm.Listed `json:"alarms,omitempty"`
	Vehicles int            `json:"vehicles"`
}

// Output is one thing that folding an event says; exactly one field is set.
type Output struct {
	Transition *alarm.Transition
	Refused    *alarm.Refusal
	NotJudged  *alarm.NotJudged
	Turn       *TurnPart
	Survey     *fleet.SurveyPart
	// Forward is an event that belongs to another name, under which it is to be put into the
	// log.
	Forward *event.Event
}
