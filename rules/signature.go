package rules

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"
)

// fieldRead is a field of the vehicle or of a component, or a tag, that an expression reads.
type fieldRead struct {
	of   kind
	name string
}

// signature is what the wheres of a book read: of two vehicles in which that is the
// same, the same parts of the book apply.
type signature struct {
	vehicle   []func(*Vehicle) string
	component []func(*Component) string
	capacity  bool
}

// keptSignatures bounds the lists that a Judge keeps for vehicles that are alike. A
// `where` that reads the vehicle's name makes each vehicle unlike all others.
const keptSignatures = 1024

func (b *Book) sign() {
	var fields []fieldRead
	add := func(c *Condition) {
		if c != nil {
			fields = append(fields, c.reads...)
		}
	}
	for _, t := range b.Tasks {
		add(t.Where)
	}
	for _, r := range b.Rules {
		add(r.Where)
	}
	for _, bl := range b.Baselines {
		add(bl.Where)
	}
	slices.SortFunc(fields, func(a, b fieldRead) int {
		if a.of != b.of {
			return int(a.of) - int(b.of)
		}
		return strings.Compare(a.name, b.name)
	})
	for _, f := range slices.Compact(fields) {
		switch {
		case f.of == tags:
			b.signature.vehicle = append(b.signature.vehicle, func(v *Vehicle) string { return v.Tags[f.name] })
		case f.of == vehicle:
			b.signature.vehicle = append(b.signature.vehicle, vehicleFields[f.name])
		case f.name == "capacity":
			b.signature.capacity = true
		default:
			b.signature.component = append(b.signature.component, componentFields[f.name])
		}
	}
}

// write appends what of the vehicle and its components is read, each text with its
// length, and the components' order by name, since it is that of the answer.
func (s *signature) write(to []byte, v *Vehicle, comps []Component, order []int) []byte {
	text := func(s string) {
		to = binary.AppendUvarint(to, uint64(len(s)))
		to = append(to, s...)
	}
	for _, read := range s.vehicle {
		text(read(v))
	}
	to = binary.AppendUvarint(to, uint64(len(order)))
	for _, i := range order {
		to = binary.AppendUvarint(to, uint64(i))
	}
	for i := range comps {
		for _, read := range s.component {
			text(read(&comps[i]))
		}
		if s.capacity {
			to = binary.LittleEndian.AppendUint64(to, math.Float64bits(comps[i].Capacity))
		}
	}
	return to
}

// For resolves every `where` of the book for a vehicle: what applies to it, by
// name, then by component name. The answer holds until the book, the vehicle or
// its components change; it is shared with vehicles that are alike in what any
// `where` reads, and must not be changed.
func (b *Book) For(j *Judge, v *Vehicle, comps []Component) *Applied {
	j.order = j.order[:0]
	for i := range comps {
		j.order = append(j.order, i)
	}
	slices.SortStableFunc(j.order, func(a, b int) int { return strings.Compare(comps[a].Name, comps[b].Name) })
	j.key = b.signature.write(j.key[:0], v, comps, j.order)
	if a := j.applied[string(j.key)]; a != nil {
		return a
	}
	a := b.resolve(j, v, comps, j.order)
	if j.applied == nil || len(j.applied) >= keptSignatures {
		j.applied = map[string]*Applied{}
	}
	j.applied[string(j.key)] = a
	return a
}
