package expression

import (
	"maps"
	"slices"

	"telltale/rules/word"
)

// Search looks for vehicles that two conditions both match. A text may be any that the
// conditions tell apart, by whatever test; a capacity lies at, beside or between the
// numbers that they name. A nil condition matches all.
type Search struct {
	run  Runner
	left int // of the work
	pair int // of the work on one pair
	// Open counts the pairs that it had no time to search to the end.
	Open int
}

// searchWork bounds the vehicles that one search tries, so that a book of very many
// baselines is still checked in linear time, and pairWork those of one pair.
const (
	searchWork = 200_000
	pairWork   = 20_000
)

// NewSearch returns a Search that has done nothing yet.
func NewSearch() *Search { return &Search{left: searchWork} }

// Both tries the combinations of values that the two conditions tell apart.
func (s *Search) Both(a, b *Condition) (Example, bool) {
	if s.left <= 0 {
		s.Open++
		return Example{}, false
	}
	both := comparands{fields: map[string]*compared{}}
	for _, c := range []*Condition{a, b} {
		if c != nil {
			both.join(&c.compares)
		}
	}
	both.neighbours()
	at := attempt{s: s, numbers: capacities(both.numbers)}
	for _, f := range slices.Sorted(maps.Keys(both.fields)) {
		at.fields, at.values = append(at.fields, f), append(at.values, both.fields[f].values())
	}
	at.order(both.parts)
	s.left--
	s.pair = min(s.left, pairWork)
	e := Example{word.Vehicle{Key: anyText, Name: anyText, Kind: anyText, Tags: map[string]string{}}, word.Component{Name: anyText, Kind: anyText, Fluid: anyText}, both.units}
	e, found := at.each(0, e)
	if !found && s.pair <= 0 {
		s.Open++
	}
	return e, found
}

// Apart reports whether no vehicle with its component can match both conditions.
// That is only said of conditions of which trying the values they name is proof.
func (s *Search) Apart(a, b *Condition) bool {
	if a != nil && !a.compares.plain || b != nil && !b.compares.plain {
		return false
	}
	_, found := s.Both(a, b)
	return !found && s.Open == 0
}

// attempt is the search for one pair: a value for each field in turn.
type attempt struct {
	s       *Search
	fields  []string
	values  [][]string
	numbers []float64
	parts   [][]*Condition // that can be told once so many fields have a value
}

// order puts each part where the last of the fields that it reads has its value.
func (at *attempt) order(parts []*Condition) {
	at.parts = make([][]*Condition, len(at.fields)+2)
	for _, p := range parts {
		last := 0
		for _, f := range p.Fields {
			if i := slices.Index(at.fields, f); i >= 0 {
				last = max(last, i+1)
			} else {
				last = len(at.fields) + 1 // the capacity
			}
		}
		at.parts[last] = append(at.parts[last], p)
	}
}

// each gives what follows the first n fields their values, until all parts hold or the
// work is done.
func (at *attempt) each(n int, e Example) (Example, bool) {
	at.s.pair--
	at.s.left--
	if at.s.pair < 0 || !at.hold(n, &e) {
		return e, false
	}
	if n == len(at.fields) {
		for _, c := range at.numbers {
			if e.Component.Capacity = c; at.hold(n+1, &e) {
				return e, true
			}
		}
		return e, false
	}
	for _, value := range at.values[n] {
		e.set(at.fields[n], value)
		if found, ok := at.each(n+1, e); ok {
			return found, true
		}
	}
	return e, false
}

func (at *attempt) hold(n int, e *Example) bool {
	return !slices.ContainsFunc(at.parts[n], func(p *Condition) bool {
		ok, _ := at.s.run.Matches(p, &e.Vehicle, &e.Component)
		return !ok
	})
}

// capacities are the numbers, those between them, and one that is not known.
func capacities(numbers []float64) []float64 {
	marks := append(slices.Clone(numbers), 0)
	slices.Sort(marks)
	out := []float64{0}
	for i, v := range marks {
		if i > 0 {
			out = append(out, (marks[i-1]+v)/2)
		}
		out = append(out, v)
	}
	out = slices.Compact(slices.DeleteFunc(out, func(v float64) bool { return v < 0 }))
	// Round ones first: an example is read by people.
	slices.SortStableFunc(out, func(a, b float64) int { return decimals(a) - decimals(b) })
	return out
}

func decimals(v float64) int {
	n := 0
	for ; n < 9 && !Equal(v, round(v, n)); n++ {
	}
	return n
}
