package people

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/applies"
)

// Reach counts the vehicles of which each person hears anything, at whichever stage, by id.
// Vehicles that are alike in all that decides it are looked at once.
func Reach(d *Directory, vehicles []Vehicle, book *rules.Book) map[string]int {
	r := reacher{Directory: d, finder: applies.NewFinder(book), kept: map[string]bool{}, told: map[string][]string{}}
	for _, e := range d.entries {
		r.named = append(r.named, e.who...)
		if e.where != nil {
			source := e.where.Source()
			text := source.String()
			r.names = r.names || strings.Contains(text, "id") || strings.Contains(text, "name")
			r.people = r.people || strings.Contains(text, "people")
		}
	}
	out := map[string]int{}
	for i := range vehicles {
		for _, id := range r.of(&vehicles[i]) {
			out[id]++
		}
	}
	return out
}

// reacher keeps what was found for vehicles that are alike.
type reacher struct {
	*Directory
	finder *applies.Finder
	named  []string // who is named in an entry, and not only as one of a vehicle's people
	// names and people: a condition may ask for a vehicle's names, or for its people.
	names, people bool

	told map[string][]string // who hears of such a vehicle, without its people
	kept map[string]bool     // whether one of its people does
}

// of are the ids of those who hear of the vehicle.
func (r *reacher) of(v *Vehicle) []string {
	like, others := r.like(v), *v
	if !r.people {
		others.People = nil
	}
	told, ok := r.told[like]
	if !ok {
		for _, p := range r.People() {
			if r.hearsAny(p, &others) {
				told = append(told, p.ID)
			}
		}
		r.told[like] = told
	}
	for _, id := range v.People {
		p := r.Person(id)
		if p == nil || slices.Contains(told, id) {
			continue
		}
		key := like + "\x00" + r.kind(p)
		heard, ok := r.kept[key]
		if !ok {
			own := others
			own.People = v.People
			heard = r.hearsAny(p, &own)
			r.kept[key] = heard
		}
		if heard {
			told = append(slices.Clip(told), id)
		}
	}
	return told
}

// kind is what decides whether a person hears of a vehicle that is theirs: who is named
// nowhere hears as others do that are reached by the same ways.
func (r *reacher) kind(p *Person) string {
	if slices.Contains(r.named, p.ID) || r.people {
		return p.ID
	}
	return fmt.Sprint(p.Ways(), p.turn != nil)
}

func (r *reacher) hearsAny(p *Person, v *Vehicle) bool {
	return slices.ContainsFunc(alarmsOf(*v, r.finder), func(s Subject) bool { return r.reached(p, &s) })
}

// like is the same for vehicles that are alike.
func (r *reacher) like(v *Vehicle) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%q", v.Kind)
	for _, tag := range slices.Sorted(maps.Keys(v.Tags)) {
		fmt.Fprintf(&b, "%q%q", tag, v.Tags[tag])
	}
	for _, c := range v.Components {
		fmt.Fprintf(&b, "|%q%q%q", c.Name, c.Kind, c.Fluid)
	}
	if r.names {
		fmt.Fprintf(&b, "#%q%q", v.ID, v.Name)
	}
	if r.people {
		fmt.Fprintf(&b, "@%q", v.People)
	}
	return b.String()
}
