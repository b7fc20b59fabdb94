package record

import (
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/rules/english"
)

// maxBasis bounds what a judgement is said to be based on.
const maxBasis = 4

// Basis says in words what the events are, as far as the record keeps them: "sample
// L-1042 drawn 2031-02-10", "job of 2031-03-03". Each is said once, in the order given. Of
// readings only that of the cause is named, the event under way: others may have been
// thinned out, in a record that was stored before one that was not.
func (r *Record) Basis(ids []event.ID, cause event.ID) (out []string) {
	zone := time.UTC
	if d := r.Registered(); d != nil {
		zone = d.Location()
	}
	for _, id := range ids {
		if s := r.basis(id, id == cause, zone); s != "" && len(out) < maxBasis && !slices.Contains(out, s) {
			out = append(out, s)
		}
	}
	return out
}

func (r *Record) basis(id event.ID, isCause bool, zone *time.Location) string {
	on := func(s *Stamp) string { return interval.DateOf(time.Unix(0, s.At), zone).String() }
	key := KeyOf(id)
	if i := slices.IndexFunc(r.Samples, func(s Sample) bool { return s.ID == id }); i >= 0 {
		s := &r.Samples[i]
		if s.ByHand() {
			return "measurement of " + s.DrawnOn(zone)
		}
		return "sample " + english.OneLine(s.Number) + " drawn " + s.DrawnOn(zone)
	}
	for i := range r.Meters {
		if s := find(r.Meters[i].Readings, key, id); s != nil && isCause {
			return r.Meters[i].Name + " read on " + on(s)
		}
		if s := find(r.Meters[i].Replaced, key, id); s != nil {
			return "new " + r.Meters[i].Name + " of " + on(s)
		}
	}
	if s := find(r.Services, key, id); s != nil {
		return "job of " + on(s)
	}
	if s := find(r.Answers, key, id); s != nil {
		return "answer of " + on(s)
	}
	return "" // a registration tells a person nothing
}
