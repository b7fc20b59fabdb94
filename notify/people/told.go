package people

import (
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/rules"
	"telltale/rules/applies"
)

// Tell is one entry of tell, as it is written.
type Tell struct {
	Name string
	Who  []string // ids
	// Own: and the people that a vehicle's registration names.
	Own    bool
	Where  string        // "" for all
	Stages []alarm.Stage // nil for all
	When   string        // at once, digest or never
	By     []string      // ways; nil for all that the person has
	// Remind and StandIn are after how long nobody has acknowledged; zero for never.
	Remind, StandIn time.Duration
	StandIns        []string // ids
}

var whenWords = [...]string{inDigest: "digest", atOnce: "at once", never: "never"}

// Tells are the entries of tell, by name.
func (d *Directory) Tells() (out []Tell) {
	for _, e := range d.entries {
		t := Tell{Name: e.name, Who: e.who, Own: e.own, Stages: e.stages, When: whenWords[e.when], By: e.by,
			Remind: e.remind, StandIn: e.standIn, StandIns: e.standIns}
		if e.where != nil {
			source := e.where.Source()
			t.Where = source.String()
		}
		out = append(out, t)
	}
	return out
}

// Heard is how one person hears of something on a vehicle.
type Heard struct {
	Person *Person
	Ways   []string // at once, by these; nil for in the list alone
	Entry  string   // of tell, that says so
	// Of are the rules and tasks of which they hear so, by name.
	Of []string
}

// WhoHears lists who hears of what the book can say of the vehicle at a stage, at once
// before in the list, then by person. What nobody hears of is unheard.
func WhoHears(d *Directory, v Vehicle, book *rules.Book, stage alarm.Stage) (heard []Heard, unheard []string) {
	for _, s := range alarmsOf(v, applies.NewFinder(book)) {
		if s.Stages[0] != stage {
			continue
		}
		any := false
		for _, p := range d.People() {
			if !d.reached(p, &s) {
				continue
			}
			any = true
			_, entry := d.Hears(p, &s)
			heard = hear(heard, Heard{Person: p, Ways: d.Ways(p, &s), Entry: entry, Of: []string{s.Rule}})
		}
		if !any && !slices.Contains(unheard, s.Rule) {
			unheard = append(unheard, s.Rule)
		}
	}
	slices.SortStableFunc(heard, func(a, b Heard) int { return later(a) - later(b) })
	slices.Sort(unheard)
	return heard, unheard
}

func later(h Heard) int {
	if h.Ways == nil {
		return 1
	}
	return 0
}

// hear puts what a person hears of beside what they hear of in the same way.
func hear(list []Heard, one Heard) []Heard {
	for i := range list {
		h := &list[i]
		if h.Person == one.Person && h.Entry == one.Entry && slices.Equal(h.Ways, one.Ways) {
			if !slices.Contains(h.Of, one.Of[0]) {
				h.Of = append(h.Of, one.Of[0])
				slices.Sort(h.Of)
			}
			return list
		}
	}
	return append(list, one)
}
