package engine

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"

	"github.com/go-json-experiment/json"

	"telltale/engine/record"
)

// packed is a stored record that nothing has been asked of yet. Reading it costs
// some twenty times as much as keeping it, and a start has a million of them.
type packed struct {
	text []byte
	next int64 // its next change, Unix seconds
	slot *slot
}

// Load puts a stored record back, as Encode gave it; b must not be changed
// afterwards. It is read when something is first asked of the vehicle, see Err.
func (p *Partition) Load(vehicle string, b []byte) error {
	k := packed{text: b}
	p.turned = nil
	if old := p.records[vehicle]; old != nil {
		k.slot = old.slot
		p.active.add(old.Alarms, -1)
		p.unlist(old)
		delete(p.records, vehicle)
	} else if old, ok := p.packed[vehicle]; ok {
		k.slot = old.slot
		p.active.addStored(old.text, -1)
		delete(p.packed, vehicle)
	}
	if k.slot == nil {
		k.slot = &slot{vehicle: vehicle, pos: -1}
	}
	var ok bool
	if k.next, ok = storedNext(b); !ok || isPointer(b) { // Encode did not write it, or there is nothing to it
		r, err := p.read(vehicle, k)
		if err != nil {
			return err
		}
		p.records[vehicle] = r
		p.list(r, false, nil)
		p.active.add(r.Alarms, 1)
		p.slots.schedule(r)
		return nil
	}
	if p.packed == nil {
		p.packed = map[string]packed{}
	}
	p.packed[vehicle] = k
	p.active.addStored(b, 1)
	p.slots.put(k.slot, k.next)
	return nil
}

// isPointer reports whether a stored record is of a name that is another's by now.
func isPointer(b []byte) bool { return bytes.Contains(b[:min(len(b), 1<<10)], []byte(`,"is":"`)) }

// storedNext is a stored record's next change, with which its text ends.
func storedNext(b []byte) (next int64, ok bool) {
	const name = `,"next":`
	i := bytes.LastIndex(b, []byte(name))
	if i < 0 || b[len(b)-1] != '}' {
		return 0, false
	}
	next, err := strconv.ParseInt(string(b[i+len(name):len(b)-1]), 10, 64)
	return next, err == nil
}

// nextOf is the next change of the vehicle that has the turn.
func (p *Partition) nextOf(t *slot) int64 {
	if r := p.records[t.vehicle]; r != nil {
		return r.Next
	}
	return p.packed[t.vehicle].next
}

// record is the vehicle's record; nil where there is none.
func (p *Partition) record(name string) *vehicle {
	if r := p.records[name]; r != nil {
		return r
	}
	k, ok := p.packed[name]
	if !ok {
		return nil
	}
	r, err := p.read(name, k)
	if err != nil {
		p.err = cmp.Or(p.err, err)
		return &vehicle{Record: record.Record{Vehicle: name}, slot: k.slot}
	}
	delete(p.packed, name)
	p.records[name] = r
	p.list(r, false, nil)
	return r
}

// Err is the fault of a stored record that could not be read when it was asked for.
// What was folded and answered since may be wrong, and is not to be used.
func (p *Partition) Err() error { return p.err }

// Unpack reads up to n of the records that nothing was asked of since they were
// loaded, so that a question about all of them is answered quickly. It reports
// whether there are more.
func (p *Partition) Unpack(n int) (more bool) {
	for vehicle := range p.packed {
		if n--; n < 0 || p.err != nil {
			break
		}
		p.record(vehicle)
	}
	if len(p.packed) == 0 {
		p.packed = nil
	}
	return p.packed != nil
}

func (p *Partition) read(name string, k packed) (*vehicle, error) {
	r := vehicle{slot: k.slot}
	if err := json.Unmarshal(k.text, &r.Record); err != nil {
		return nil, fmt.Errorf("reading the record of vehicle %q: %w", name, err)
	}
	if r.Vehicle != name {
		return nil, fmt.Errorf("the record of vehicle %q is that of %q", name, r.Vehicle)
	}
	r.EachStamp(func(s *record.Stamp) { s.Key, s.ID.Source = record.KeyOf(s.ID), p.interned.Word(s.ID.Source) })
	for i := range r.Register {
		r.Register[i].VehicleData = p.interned.Registration(r.Register[i].VehicleData)
	}
	for i := range r.Meters {
		r.Meters[i].Readings = slices.Clone(r.Meters[i].Readings) // without room to spare
	}
	return &r, nil
}
