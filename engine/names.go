package engine

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/record"
	"telltale/rules/english"
)

// passOn hands over what comes under a name that is another record's vehicle, and makes
// a pointer of a record whose vehicle turns out to be that of an earlier name; false:
// the event is for the record of its own name.
func (p *Partition) passOn(ev event.Event) ([]Output, bool) {
	r := p.record(ev.Vehicle)
	if r != nil && r.Is != "" {
		return p.handOver(ev, r.Is), true
	}
	d, ok := ev.Data.(*event.VehicleData)
	if !ok || len(d.Was) == 0 {
		return nil, false
	}
	if r == nil {
		r = &vehicle{Record: record.Record{Vehicle: ev.Vehicle}}
	}
	if home := r.Earlier(d); home != "" {
		out, merge, err := p.joinTo(r, home, ev)
		if err != nil {
			return []Output{{Refused: p.refused(ev, err)}}, true
		}
		out = append(out, p.handOver(ev, home)...)
		return append(out, merge()...), true // once the registration names its components
	}
	unheard := r.Unheard(d)
	out, err := p.foldInto(ev.Vehicle, ev, false)
	if err != nil {
		return []Output{{Refused: p.refused(ev, err)}}, true
	}
	for _, name := range unheard {
		ask := p.merging(ev, name, ev.Vehicle)
		if p.Elsewhere != nil {
			out = append(out, Output{Forward: &ask})
			continue
		}
		out = append(out, p.merge(ask, ask.Data.(*record.MergeData))...)
	}
	return out, true
}

// merging is the event by which one record becomes part of another.
func (p *Partition) merging(ev event.Event, from, into string) event.Event {
	at := p.moment(ev)
	return event.Event{
		ID:   event.ID{Source: "/telltale", ID: strings.Join([]string{"merge", from, into, ev.ID.Source, ev.ID.ID}, " ")},
		Kind: event.MergeEvent, Time: at, Recorded: at, Line: ev.Line, Data: &record.MergeData{From: from, Into: into},
	}
}

// joinTo leaves a pointer where the record was. Its facts are handed over by merge.
func (p *Partition) joinTo(r *vehicle, home string, ev event.Event) (out []Output, merge func() []Output, err error) {
	if p.records[r.Vehicle] == nil {
		return p.closeRecord(r, home, ev), func() []Output { return nil }, nil
	}
	of := r.HandedOver()
	switch b, err := json.Marshal(of); {
	case err != nil:
		return nil, nil, err
	case len(b) > record.MostMerged:
		return nil, nil, event.Refuse("vehicle %s has too much of its own to be merged with %s: %d bytes, at most %d", r.Vehicle, home, len(b), record.MostMerged)
	}
	m := p.merging(ev, r.Vehicle, home)
	m.Data.(*record.MergeData).Of = of
	return p.closeRecord(r, home, ev), func() []Output { return p.handOver(m, home) }, nil
}

// closeRecord leaves a pointer where the record was.
func (p *Partition) closeRecord(r *vehicle, home string, ev event.Event) []Output {
	var out []Output
	if p.records[r.Vehicle] != nil {
		p.active.add(r.Alarms, -1)
		p.unlist(r)
		f := &p.work
		*f = fold{p: p, ev: ev, View: f.View, judged: f.judged[:0], moves: f.moves[:0]}
		f.Anew(&p.law, &r.Record, p.moment(ev), nil)
		f.Reader.Marked = true
		f.Reader.Units = p.By.Units
		f.withdrawAll(fmt.Sprintf("it is the same vehicle as %s was, and continues its record", home))
		out = f.out
	}
	next := &vehicle{Record: record.Record{Vehicle: r.Vehicle, Is: home, Next: math.MaxInt64}, slot: r.slot}
	p.records[r.Vehicle] = next
	p.changed[r.Vehicle] = true
	p.slots.schedule(next)
	return out
}

// handOver gives an event to the record of another name: at once where the partition holds
// all, else as an output, for whoever feeds it to put into the log. That is so even where
// the other record is in the same partition: the two are stored one after the other, and a
// crash in between would lose the event.
func (p *Partition) handOver(ev event.Event, to string) []Output {
	switch d := ev.Data.(type) {
	case *event.VehicleData:
		c := *d
		if c.Key == "" {
			c.Key = ev.Vehicle
		}
		if c.Key == to {
			c.Key = "" // it has its first name again
		}
		ev.Data = &c
	case *record.MergeData:
		c := *d
		c.Into, ev.Data = to, &c
	}
	if ev.Kind != event.MergeEvent {
		ev.Vehicle = to
	}
	if p.Rename != nil {
		ev = p.Rename(ev)
	}
	if p.Elsewhere != nil {
		return []Output{{Forward: &ev}}
	}
	if p.hops++; p.hops > record.MostNames {
		p.hops = 0
		return []Output{{Refused: p.refused(ev, event.Refuse("the earlier names of vehicle %s lead in a circle", ev.Vehicle))}}
	}
	defer func() { p.hops = max(0, p.hops-1) }()
	return p.Apply(ev)
}

// merge takes the facts of another name into the record that they belong to, or hands over
// those that are asked for. Every partition reads such an event.
func (p *Partition) merge(ev event.Event, d *record.MergeData) []Output {
	if d.Of == nil {
		return p.askedFor(ev, d)
	}
	if p.Elsewhere != nil && p.Elsewhere(d.Into) {
		return nil
	}
	if r := p.record(d.Into); r != nil && r.Is != "" {
		return p.handOver(ev, r.Is)
	}
	return p.each(d.Into, ev, true)
}

// askedFor has the record of a name become part of the one that asks for it.
func (p *Partition) askedFor(ev event.Event, d *record.MergeData) []Output {
	if p.Elsewhere != nil && p.Elsewhere(d.From) {
		return nil
	}
	r := p.record(d.From)
	switch {
	case r == nil:
		r = &vehicle{Record: record.Record{Vehicle: d.From}}
	case r.Is != "" || slices.Contains(r.Names, d.Into):
		return nil // it has gone to a vehicle already, or the other came to it
	}
	out, merge, err := p.joinTo(r, d.Into, ev)
	if err != nil {
		ev.Vehicle = d.From
		return []Output{{Refused: p.refused(ev, err)}}
	}
	return append(out, merge()...)
}

// NamesOf are all names of the vehicle that has or had one, as far as this partition knows,
// the one that its record is kept under first. That may be in another partition, which
// knows more. Of a name that is not known here there are none.
func (a Asked) NamesOf(name string) []string {
	home := a.home(name)
	switch r := a.record(home); {
	case r != nil && r.Is == "" && a.Sight.Sees(r.card):
		return r.KnownAs()
	case r != nil && r.Is == "", home == name:
		return nil
	}
	return []string{home}
}

func (p *Partition) home(name string) string {
	return record.Home(name, func(n string) string {
		if r := p.record(n); r != nil {
			return r.Is
		}
		return ""
	})
}

// of is the record of the vehicle that has or had the name; nil where there is none here.
func (p *Partition) of(name string) *vehicle { return p.record(p.home(name)) }

// shown is the present name of a vehicle.
func (p *Partition) shown(name string) string {
	if r := p.records[name]; r != nil { // who refuses an event has read it
		return r.Shown()
	}
	return name
}

// EarlierName is a name that is a vehicle's no longer, and the one that leads to its record.
type EarlierName struct {
	Name string `json:"name"`
	Is   string `json:"is"`
}

// Renamed lists the names that are a vehicle's no longer, in order.
func (p *Partition) Renamed() (out []EarlierName) {
	for name, r := range p.records {
		if r.Is != "" {
			out = append(out, EarlierName{name, r.Is})
		}
	}
	slices.SortFunc(out, func(a, b EarlierName) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// calledBy is what of the vehicle a folded name is; "" for nothing.
func (v *RegisteredVehicle) calledBy(folded string) string {
	what := [...]string{"key", "name", "plate", "VIN", "earlier key"}
	for i, n := range v.Names(v.Vehicle) {
		if n != "" && english.Folded(n) == folded {
			return what[min(i, len(what)-1)]
		}
	}
	if v.First != "" && english.Folded(v.First) == folded {
		return "earlier key"
	}
	return ""
}

// Meant is the one vehicle among those called by a name that is meant by it: the one with
// that key, to the letter, or the only one. It is "" where there is none; where several may
// be meant, the error names them.
func Meant(name string, called []RegisteredVehicle) (string, error) {
	var each []string
	for _, v := range called {
		if v.Vehicle == name {
			return name, nil
		}
		each = append(each, "the "+v.calledBy(english.Folded(name))+" of "+v.Vehicle)
	}
	switch len(called) {
	case 0:
		return "", nil
	case 1:
		return called[0].Vehicle, nil
	}
	return "", fmt.Errorf("%q may be %s: name it by its key", name, english.List("or", each))
}

// Meant is the vehicle that a name means, by any name that it has or had; "" where there is
// none.
func (p *Partition) Meant(name string) (string, error) {
	if p.of(name) != nil {
		return name, nil
	}
	return Meant(name, p.AskedBy(p.By).Called(name))
}
