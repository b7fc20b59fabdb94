package listing

import (
	"slices"

	"telltale/engine/event"
)

// Sight is which of an index's vehicles somebody sees. It is asked once of each registration
// and kept, so that a list costs little more than one of all. It is that of one index alone.
type Sight struct {
	text string
	sees func(home string, reg *event.VehicleData) bool
	// known says of which cards it was asked, seen which of them it sees, by their numbers;
	// both nil where nothing is kept any more.
	known, seen []uint64
	// counts are those of the views that were asked for, kept in step as the index's own are.
	counts map[View]map[bucket]int
	begun  bool
}

// sights are those that are kept, the latest asked for first, and the numbers of the cards.
type sights struct {
	kept []*Sight
	next uint32
	free []uint32 // numbers that no card has
}

// mostSights bounds what is kept, two bits a vehicle.
const mostSights = 64

// Sight is the one that a text stands for: sees says of a record's name and registration
// whether they may be seen, and always says the same for the same text.
func (x *Index) Sight(text string, sees func(home string, reg *event.VehicleData) bool) *Sight {
	k := &x.sights
	if i := slices.IndexFunc(k.kept, func(s *Sight) bool { return s.text == text }); i >= 0 {
		s := k.kept[i]
		copy(k.kept[1:], k.kept[:i])
		k.kept[0] = s
		return s
	}
	s := &Sight{text: text, sees: sees, known: []uint64{}, counts: map[View]map[bucket]int{}}
	if k.kept = slices.Insert(k.kept, 0, s); len(k.kept) > mostSights {
		last := k.kept[mostSights]
		last.known, last.seen, last.counts = nil, nil, nil // whoever has it still is no longer told what changes
		k.kept = slices.Delete(k.kept, mostSights, mostSights+1)
	}
	return s
}

// Begin reports, once, that nothing was asked of it yet: to ask of a whole fleet takes time.
func (s *Sight) Begin() bool {
	anew := s != nil && !s.begun
	if anew {
		s.begun = true
	}
	return anew
}

// asked reports whether it is kept of the vehicle whether it is seen.
func (s *Sight) asked(c *Card) bool {
	i := int(c.number / 64)
	return i < len(s.known) && s.known[i]&(1<<(c.number%64)) != 0
}

// Sees reports whether the vehicle is seen. A nil Sight sees all; any other none that is not
// registered.
func (s *Sight) Sees(c *Card) bool {
	switch {
	case s == nil:
		return true
	case c == nil:
		return false
	case s.known == nil:
		return s.sees(c.home, c.reg)
	}
	i, bit := int(c.number/64), uint64(1)<<(c.number%64)
	if i >= len(s.known) {
		s.known = append(s.known, make([]uint64, i+1-len(s.known))...)
		s.seen = append(s.seen, make([]uint64, i+1-len(s.seen))...)
	}
	if !s.asked(c) {
		s.known[i] |= bit
		s.seen[i] &^= bit
		if s.sees(c.home, c.reg) {
			s.seen[i] |= bit
		}
	}
	return s.seen[i]&bit != 0
}

// countsFor are the counts of a view of what somebody sees.
func (x *Index) countsFor(s *Sight, v View) map[bucket]int {
	if s == nil {
		return x.counts[v]
	}
	c := s.counts[v]
	if c == nil {
		c = map[bucket]int{}
		for l := range x.lists[v].all {
			if s.Sees(l.card) {
				l.count(c, 1)
			}
		}
		if s.counts != nil {
			s.counts[v] = c
		}
	}
	return c
}

// number is one that no card has.
func (k *sights) number() uint32 {
	if n := len(k.free); n > 0 {
		last := k.free[n-1]
		k.free = k.free[:n-1]
		return last
	}
	k.next++
	return k.next - 1
}

// forget has every sight asked again of a card: its registration changed, or it went.
func (k *sights) forget(c *Card) {
	for _, s := range k.kept {
		if i := int(c.number / 64); i < len(s.known) {
			s.known[i] &^= 1 << (c.number % 64)
		}
	}
}
