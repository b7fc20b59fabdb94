package intake

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// registerSource is the source of the events that a register file makes.
const registerSource = "/register"

// Register reads a register of vehicles (vehicles.yaml) as the events that
// register them at a moment, in the order of the file. A vehicle that says the same
// at the same moment has the same event. What is wrong is a source.Faults.
func Register(name string, text []byte, at time.Time) ([]event.Event, error) {
	s, root := source.ReadRegister(name, text)
	if root == nil {
		return nil, s.Err()
	}
	r := &registerReader{Document: s}
	var out []event.Event
	top := s.Mapping(root, "the register", "vehicles")
	if v := top["vehicles"]; v != nil {
		entries := s.Entries(v, "vehicles")
		r.earlierNames(entries)
		r.plates(entries)
		for _, p := range entries {
			if ev, ok := r.vehicle(p, at); ok {
				out = append(out, ev)
			}
		}
	} else if s.Err() == nil {
		s.Fault(root, "begin with `vehicles:`", "no vehicles")
	}
	return out, s.Err()
}

type registerReader struct{ *source.Document }

func (r *registerReader) vehicle(p source.Pair, at time.Time) (event.Event, bool) {
	d, before := &event.VehicleData{}, r.Faulty()
	m := r.fields(p.Value, "vehicle "+p.Key.Value, vehicleFields, d)
	if d.Name == "" {
		d.Name = p.Key.Value
	}
	if r.Faulty() > before {
		return event.Event{}, false
	}
	ev, err := At(event.Event{Kind: event.VehicleEvent, Vehicle: p.Key.Value, Data: d}, at) // checked as any other way in would
	if err == nil {
		return ev, true
	}
	faults := vehicleFaults(ev, d)
	if first(append(faults, nameFaults(d)...)...) == nil {
		faults = append(faults, err) // not of the data
	}
	for _, f := range faults {
		if f != nil {
			r.refused(p.Key, m, f)
		}
	}
	return ev, false
}

// refused reports what is wrong with a vehicle, at the value of which the fault speaks or
// else at the vehicle's key.
func (r *registerReader) refused(key *yaml.Node, m map[string]*yaml.Node, err error) {
	at, text := key, err.Error()
	if f, ok := errors.AsType[*Fault](err); ok {
		for _, field := range vehicleFields {
			if rest, of := strings.CutPrefix(f.At, "data."+field.Path); of && m[field.Key] != nil && (rest == "" || rest[0] == '.' || rest[0] == '[') {
				at, text = m[field.Key], field.Key+rest+": "+f.Text
			}
		}
	}
	r.Fault(at, "", "vehicle %s: %s", key.Value, text)
}

// fields reads a mapping into data.
func (r *registerReader) fields(n *yaml.Node, what string, fields []Field, data any) map[string]*yaml.Node {
	m := r.Mapping(n, what, Keys(fields)...)
	for _, f := range fields {
		if n := m[f.Key]; n != nil {
			r.field(n, f, f.In(data))
		}
	}
	return m
}

func (r *registerReader) field(n *yaml.Node, f Field, at any) {
	each := func(read func(name string, n *yaml.Node)) {
		for _, p := range r.Entries(n, f.Key) {
			read(p.Key.Value, p.Value)
		}
	}
	switch at := at.(type) {
	case *string:
		*at = r.Text(n, f.Key)
	case *[]string:
		*at = r.Texts(n, f.Key)
	case *bool:
		*at = r.Yes(n, f.Key, false)
	case **unit.Quantity:
		if q, ok := r.Quantity(n, f.Key, f.Units...); ok {
			*at = &q
		}
	case *map[string]string:
		*at = map[string]string{}
		each(func(name string, n *yaml.Node) { (*at)[name] = r.Text(n, "tag "+name) })
	case *map[string]unit.Quantity:
		*at = map[string]unit.Quantity{}
		each(func(name string, n *yaml.Node) { (*at)[name], _ = r.Quantity(n, f.Key+" "+name, f.Units...) })
	case *[]event.MeterDef:
		each(func(name string, n *yaml.Node) {
			m := event.MeterDef{Name: name}
			if n.Kind == yaml.MappingNode {
				n = r.fields(n, "meter "+name, meterFields, &m)["kind"]
			}
			m.Kind = []string{"distance", "hours"}[r.Choice(n, "meter "+name, "distance", "hours")]
			*at = append(*at, m)
		})
	case *[]event.ComponentDef:
		each(func(name string, n *yaml.Node) {
			c := event.ComponentDef{Name: name}
			m := r.fields(n, "component "+name, componentFields, &c)
			if c.Torque != nil && c.Source == "" {
				r.Fault(m["torque"], "add `source:` to the component, such as the maker's manual and the page", "torque of %s has no source", name)
			}
			*at = append(*at, c)
		})
	}
}

// At gives the registration of a register another moment, and the identity that
// goes with it.
func At(ev event.Event, at time.Time) (event.Event, error) {
	ev.ID = event.ID{Source: registerSource, ID: "vehicle"}
	ev.Time, ev.Recorded = at.UTC(), at.UTC()
	ev, err := Checked(ev)
	if err != nil {
		return ev, err
	}
	ev.ID.ID = fmt.Sprintf("%s-%016x", ev.Vehicle, ev.Digest)
	return Checked(ev)
}
