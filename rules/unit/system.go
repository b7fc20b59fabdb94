package unit

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Distances are the units of distance that a book and a person choose among, the
// usual one first.
func Distances() []string { return []string{"km", "mi"} }

// Volumes are the units of volume that a book and a person choose among, the usual
// one first.
func Volumes() []string { return []string{"L", "qt", "gal"} }

// System is the units in which a book, a vehicle's owner or a person speaks; "" where it
// does not say.
type System struct {
	Distance    string // "km" or "mi"
	Volume      string // "L", "qt" or "gal"
	Temperature string // "degC" or "degF"
	Pressure    string // "kPa", "bar" or "psi"
}

// Metric is what is spoken where nobody says otherwise.
var Metric = System{Distance: "km", Volume: "L", Temperature: "degC", Pressure: "kPa"}

// chosen are the units that a system chooses among, by kind, the usual one first.
var chosen = []struct {
	kind  Kind
	units []string
}{
	{Distance, Distances()}, {Volume, Volumes()}, {Temperature, []string{"degC", "degF"}}, {Pressure, []string{"kPa", "bar", "psi"}},
}

// Choices are the units that a system may name of the kinds, of all where none is given.
func Choices(kinds ...Kind) []string {
	var out []string
	for _, c := range chosen {
		if len(kinds) == 0 || slices.Contains(kinds, c.kind) {
			out = append(out, c.units...)
		}
	}
	return out
}

// Agreed is what all of the systems that say anything of a kind say of it; "" where two
// do not agree.
func Agreed(all []System) System {
	var out System
	for _, c := range chosen {
		var said []string
		for _, s := range all {
			if u := s.Of(c.kind); u != "" && !slices.Contains(said, u) {
				said = append(said, u)
			}
		}
		if len(said) == 1 {
			*out.at(c.kind) = said[0]
		}
	}
	return out
}

// Read are the units of a kind that somebody may read in, the usual one first; nil for a
// kind that everybody reads in the same.
func Read(k Kind) []string {
	for _, c := range chosen {
		if c.kind == k {
			return c.units
		}
	}
	return nil
}

// SystemOf is the system that the units name, at most one of each kind: "mi", "qt".
func SystemOf(names []string) (System, error) {
	var s System
	for _, name := range names {
		k, _ := Of(name)
		at := s.at(k)
		switch {
		case at == nil || !slices.Contains(Choices(), name):
			return System{}, fmt.Errorf("%q is not a unit to read in; choose among %s", name, strings.Join(Choices(), ", "))
		case *at != "":
			return System{}, fmt.Errorf("%s and %s are both for %s; choose one", *at, name, k)
		}
		*at = name
	}
	return s, nil
}

func (s *System) at(k Kind) *string {
	switch k {
	case Distance:
		return &s.Distance
	case Volume:
		return &s.Volume
	case Temperature:
		return &s.Temperature
	case Pressure:
		return &s.Pressure
	}
	return nil
}

// Of is the unit in which the system speaks of a kind; "" where it does not say.
func (s System) Of(k Kind) string {
	if at := s.at(k); at != nil {
		return *at
	}
	return ""
}

// Or is the system, and of what it does not say that of another.
func (s System) Or(o System) System {
	for _, c := range chosen {
		if at := s.at(c.kind); *at == "" {
			*at = o.Of(c.kind)
		}
	}
	return s
}

// Names are the units of the system, those that it says.
func (s System) Names() []string {
	var out []string
	for _, c := range chosen {
		if u := s.Of(c.kind); u != "" {
			out = append(out, u)
		}
	}
	return out
}

// In is the quantity in the system's unit of its kind, to a tenth; as it was where it is
// in that unit, or the system has none of the kind.
func (q Quantity) In(s System) Quantity {
	v, u := s.Own(q.Value, q.Unit)
	if u == q.Unit {
		return q
	}
	return Quantity{Value: math.Round(v*10) / 10, Unit: u}
}

// Difference is a difference of two values in one unit as it is in another of its kind:
// of temperatures one of 10 degC is one of 18 degF.
func Difference(v float64, from, to string) float64 {
	a, okA := byName[from]
	b, okB := byName[to]
	if !okA || !okB || a.kind != b.kind {
		return v
	}
	return v * a.factor / b.factor
}
