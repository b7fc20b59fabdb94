package record

import (
	"slices"

	"telltale/engine/event"
	"telltale/engine/latch"
)

// A record's lists of facts are gone through by what stands here, so that a new kind
// of fact is added to lists and nowhere else.

// list is one list of facts. What changes it leaves the old list as it was.
type list interface {
	find(key uint32, id event.ID) *Stamp
	each(visit func(*Stamp))
	void(id event.ID) bool // marks the fact as taken out, if it is there
	until(at int64)        // keeps the facts observed by a moment
}

// lists gives all that hold something. Those of the meters stand in the record's list
// of meters.
func (r *Record) lists(yield func(list) bool) {
	for i := range r.Meters {
		if !give(yield, &r.Meters[i].Readings) || !give(yield, &r.Meters[i].Replaced) {
			return
		}
	}
	_ = give(yield, &r.Services) && give(yield, &r.Samples) && give(yield, &r.Register) &&
		give(yield, &r.Postponed) && give(yield, &r.Voids) && give(yield, &r.Answers)
}

// give passes an empty list by: most are, and every reading goes through all of them.
func give[T any, P stamped[T]](yield func(list) bool, facts *[]T) bool {
	return len(*facts) == 0 || yield(listOf[T, P]{facts})
}

// stamped is a pointer to a fact.
type stamped[T any] interface {
	*T
	stamp() *Stamp
}

type listOf[T any, P stamped[T]] struct{ facts *[]T }

func (l listOf[T, P]) find(key uint32, id event.ID) *Stamp { return find[T, P](*l.facts, key, id) }

func (l listOf[T, P]) each(visit func(*Stamp)) {
	for i := range *l.facts {
		visit(P(&(*l.facts)[i]).stamp())
	}
}

func (l listOf[T, P]) void(id event.ID) bool {
	if l.find(KeyOf(id), id) == nil {
		return false
	}
	*l.facts = slices.Clone(*l.facts)
	l.find(KeyOf(id), id).Void = true
	return true
}

func (l listOf[T, P]) until(at int64) {
	n := 0
	for n < len(*l.facts) && P(&(*l.facts)[n]).stamp().At <= at {
		n++
	}
	*l.facts = (*l.facts)[:n:n]
}

func find[T any, P stamped[T]](facts []T, key uint32, id event.ID) *Stamp {
	for i := range facts {
		if s := P(&facts[i]).stamp(); s.Key == key && s.ID == id {
			return s
		}
	}
	return nil
}

// Seen looks for an event of that identity anywhere in the record.
func (r *Record) Seen(id event.ID) *Stamp {
	key := KeyOf(id)
	for l := range r.lists {
		if s := l.find(key, id); s != nil {
			return s
		}
	}
	return nil
}

// EachStamp visits the stamps of all facts.
func (r *Record) EachStamp(visit func(*Stamp)) {
	for l := range r.lists {
		l.each(visit)
	}
}

// Until is the record without what was observed after a moment.
func (r *Record) Until(at int64) *Record {
	rec := *r
	rec.chains, rec.Out = nil, r.outAt(at)
	rec.Meters = slices.Clone(r.Meters)
	for l := range rec.lists {
		l.until(at)
	}
	rec.Latches = slices.Clone(r.Latches)
	for i := range rec.Latches {
		l := &rec.Latches[i]
		later := func(o latch.Opening) bool { return o.At > at }
		l.Openings, l.Pulls = slices.DeleteFunc(slices.Clone(l.Openings), later), slices.DeleteFunc(slices.Clone(l.Pulls), later)
	}
	return &rec
}

// insert returns facts with f at its place; the old list is left as it was.
func insert[T any, P stamped[T]](facts []T, f T) []T {
	i, _ := slices.BinarySearchFunc(facts, f, func(a, b T) int { return P(&a).stamp().order(P(&b).stamp()) })
	if i == len(facts) {
		return append(facts, f)
	}
	return slices.Insert(slices.Clone(facts), i, f)
}

// latest keeps the last n of an ordered list.
func latest[T any](list []T, n int) []T {
	if len(list) <= n {
		return list
	}
	return slices.Clone(list[len(list)-n:])
}
