package applies

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/word"
)

// signature is what the wheres of a book read: of two vehicles in which that is the
// same, the same parts of the book apply.
type signature struct {
	vehicle   []func(*word.Vehicle, *word.Component) string
	component []func(*word.Vehicle, *word.Component) string
	capacity  bool
}

// keptSignatures bounds the lists that a Finder keeps for vehicles that are alike. A
// `where` that reads the vehicle's name makes each vehicle unlike all others.
const keptSignatures = 1024

func sign(b *rules.Book) (s signature) {
	var fields []string
	for _, p := range b.Parts() {
		if p.Where != nil {
			fields = append(fields, p.Where.Fields...)
		}
	}
	slices.Sort(fields)
	for _, f := range slices.Compact(fields) {
		switch {
		case f == "component.capacity":
			s.capacity = true
		case strings.HasPrefix(f, "component."):
			s.component = append(s.component, word.Field(f))
		default:
			s.vehicle = append(s.vehicle, word.Field(f))
		}
	}
	return s
}

// write appends what of the vehicle and its components is read, each text with its
// length, and the components' order by name, since it is that of the answer.
func (s *signature) write(to []byte, v *word.Vehicle, comps []word.Component, order []int) []byte {
	text := func(s string) {
		to = binary.AppendUvarint(to, uint64(len(s)))
		to = append(to, s...)
	}
	for _, read := range s.vehicle {
		text(read(v, nil))
	}
	to = binary.AppendUvarint(to, uint64(len(order)))
	for _, i := range order {
		to = binary.AppendUvarint(to, uint64(i))
	}
	for i := range comps {
		for _, read := range s.component {
			text(read(nil, &comps[i]))
		}
		if s.capacity {
			to = binary.LittleEndian.AppendUint64(to, math.Float64bits(comps[i].Capacity))
		}
	}
	return to
}
