package intake

import (
	"encoding/binary"
	"encoding/hex"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine"
	"telltale/rules"
	"telltale/rules/unit"
)

// registerSource is the source of the events that a register file makes.
const registerSource = "/register"

// Register reads a register of vehicles (vehicles.yaml) as the events that
// register them at a moment, in the order of the file. A vehicle that says the same
// at the same moment has the same event. What is wrong is a rules.Faults.
func Register(name string, text []byte, at time.Time) ([]engine.Event, error) {
	s, root := rules.ReadSheet(rules.File{Name: name, Text: text})
	if root == nil {
		return nil, s.Err()
	}
	r := &registerReader{Sheet: s}
	var out []engine.Event
	top := s.Mapping(root, "the register", "vehicles")
	if v := top["vehicles"]; v != nil {
		for _, p := range s.Entries(v, "vehicles") {
			if ev, ok := r.vehicle(p, at); ok {
				out = append(out, ev)
			}
		}
	} else if s.Err() == nil {
		s.Fault(root, "begin with `vehicles:`", "no vehicles")
	}
	return out, s.Err()
}

type registerReader struct{ *rules.Sheet }

func (r *registerReader) vehicle(p rules.Pair, at time.Time) (engine.Event, bool) {
	what := "vehicle " + p.Key.Value
	d := &engine.VehicleData{}
	m := r.plain(p.Value, what, vehicleFields, d)
	if d.Name == "" {
		d.Name = p.Key.Value
	}
	if n := m["tags"]; n != nil {
		d.Tags = map[string]string{}
		for _, t := range r.Entries(n, "tags") {
			d.Tags[t.Key.Value] = r.Text(t.Value, "tag "+t.Key.Value)
		}
	}
	if n := m["meters"]; n != nil {
		for _, t := range r.Entries(n, "meters") {
			kind := []string{"distance", "hours"}[r.Choice(t.Value, "meter "+t.Key.Value, "distance", "hours")]
			d.Meters = append(d.Meters, engine.MeterDef{Name: t.Key.Value, Kind: kind})
		}
	}
	if n := m["components"]; n != nil {
		for _, t := range r.Entries(n, "components") {
			d.Components = append(d.Components, r.component(t))
		}
	}
	if r.Err() != nil {
		return engine.Event{}, false
	}
	return r.event(p.Key, d, at)
}

func (r *registerReader) component(p rules.Pair) engine.ComponentDef {
	c := engine.ComponentDef{Name: p.Key.Value}
	m := r.plain(p.Value, "component "+p.Key.Value, componentFields, &c)
	if n := m["torque"]; n != nil {
		c.Torque = map[string]unit.Quantity{}
		for _, t := range r.Entries(n, "torque") {
			if q, ok := r.Quantity(t.Value, "torque "+t.Key.Value, unit.Torque); ok {
				c.Torque[t.Key.Value] = q
			}
		}
		if c.Source == "" {
			r.Fault(n, "add `source:` to the component, such as the maker's manual and the page", "torque of %s has no source", p.Key.Value)
		}
	}
	return c
}

// plain reads a mapping, and of its fields those that are a text, texts, yes or no, or a
// quantity.
func (r *registerReader) plain(n *yaml.Node, what string, fields []Field, data any) map[string]*yaml.Node {
	m := r.Mapping(n, what, keys(fields)...)
	for _, f := range fields {
		if m[f.Key] == nil {
			continue
		}
		switch at := f.In(data).(type) {
		case *string:
			*at = r.Text(m[f.Key], f.Key)
		case *[]string:
			*at = r.Texts(m[f.Key], f.Key)
		case *bool:
			*at = r.Yes(m[f.Key], f.Key, false)
		case **unit.Quantity:
			if q, ok := r.Quantity(m[f.Key], f.Key, f.Units[0]); ok {
				*at = &q
			}
		}
	}
	return m
}

// event checks the vehicle as any other way in would, and names it by what it says.
func (r *registerReader) event(key *yaml.Node, d *engine.VehicleData, at time.Time) (engine.Event, bool) {
	ev, err := At(engine.Event{Kind: engine.VehicleEvent, Vehicle: key.Value, Data: d}, at)
	if err != nil {
		r.Fault(key, "", "vehicle %s: %v", key.Value, err)
		return engine.Event{}, false
	}
	return ev, true
}

// At gives the registration of a register another moment, and the identity that
// goes with it.
func At(ev engine.Event, at time.Time) (engine.Event, error) {
	ev.ID = engine.ID{Source: registerSource, ID: "vehicle"}
	ev.Time, ev.Recorded = at.UTC(), at.UTC()
	ev, err := Checked(ev)
	if err != nil {
		return ev, err
	}
	var sum [8]byte
	binary.BigEndian.PutUint64(sum[:], ev.Digest)
	ev.ID.ID = ev.Vehicle + "-" + hex.EncodeToString(sum[:])
	return Checked(ev)
}
