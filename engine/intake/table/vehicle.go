package table

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// A table of vehicles has a row for each; its mapping has the keys of the register, each
// with the column that it is in. Nothing of it is sent: the rows become the text of a
// register, which is a file that people keep.

// ofVehicles is what a mapping of vehicles has beside the fields that are texts.
type ofVehicles struct {
	meters     []event.MeterDef // the same for every row
	tags       []named
	components []componentColumns
}

// componentColumns are where the fields of one component are, by their keys in the register.
type componentColumns struct {
	name   string
	fields map[string]*value
}

// vehicleKeys are the keys of a mapping of vehicles that say how the table is written; the
// others are those of the register.
var vehicleKeys = []string{"import", "encoding", "delimiter", "heading", "decimal mark", "thousands mark", "date order", "century", "not measured", "vehicle"}

// Vehicles reports whether the rows are vehicles, of which [Mapping.Read] gives the
// registrations.
func (m *Mapping) Vehicles() bool { return m.kind == event.VehicleEvent }

// vehicles reads a mapping of vehicles.
func (r *mappingReader) vehicles(root *yaml.Node, top map[string]*yaml.Node) {
	r.source = "/register"
	r.writing(top)
	r.dateForm(top)
	r.wording(top)
	r.of = &ofVehicles{}
	r.column("vehicle", top["vehicle"], nil)
	for _, f := range intake.Fields(r.kind) {
		n := top[f.Key]
		if n == nil {
			continue
		}
		switch f.Key {
		case "meters":
			r.instruments(n)
		case "tags":
			for _, p := range r.Entries(n, "tags") {
				r.of.tags = append(r.of.tags, named{p.Key.Value, r.value("tags: "+p.Key.Value, p.Value, nil)})
			}
		case "components":
			for _, p := range r.Entries(n, "components") {
				r.component(p)
			}
		default:
			r.column(f.Key, n, f.Units)
		}
	}
	for _, key := range []string{"vehicle", "kind"} {
		if top[key] == nil {
			r.Fault(root, "write "+key+": {column: …}, or "+key+": {always: …}", "the mapping does not say which column the %s of vehicles is in", key)
		}
	}
}

func (r *mappingReader) column(key string, n *yaml.Node, kinds []unit.Kind) {
	if n != nil {
		r.fields[key] = r.value(key, n, kinds)
	}
}

// instruments reads the meters, which the mapping gives as the register does.
func (r *mappingReader) instruments(n *yaml.Node) {
	for _, p := range r.Entries(n, "meters") {
		kinds := []string{"distance", "hours"}
		r.of.meters = append(r.of.meters, event.MeterDef{Name: p.Key.Value, Kind: kinds[r.Choice(p.Value, "meter "+p.Key.Value, kinds...)]})
	}
}

// component reads where the fields of one component are.
func (r *mappingReader) component(p source.Pair) {
	what := "components: " + p.Key.Value
	fields := columnsOf(intake.ComponentFields())
	m := r.Document.Mapping(p.Value, what, intake.Keys(fields)...)
	c := componentColumns{p.Key.Value, map[string]*value{}}
	for _, f := range fields {
		if n := m[f.Key]; n != nil {
			c.fields[f.Key] = r.value(what+": "+f.Key, n, f.Units)
		}
	}
	if m["kind"] == nil && p.Value.Kind == yaml.MappingNode {
		r.Fault(p.Key, "write kind: {column: …}, or kind: {always: petrol engine}", "%s does not say what kind it is", what)
	}
	r.of.components = append(r.of.components, c)
}

// columnsOf are the fields that a cell can say: texts and quantities.
func columnsOf(fields []intake.Field) []intake.Field {
	return slices.DeleteFunc(slices.Clone(fields), func(f intake.Field) bool {
		if f.Key == intake.Apart {
			return true
		}
		switch f.In(&event.ComponentDef{}).(type) {
		case *string, **unit.Quantity:
			return false
		}
		return true
	})
}

func (o *ofVehicles) values() (out []*value) {
	for _, t := range o.tags {
		out = append(out, t.value)
	}
	for _, c := range o.components {
		for _, f := range columnsOf(intake.ComponentFields()) {
			if v := c.fields[f.Key]; v != nil {
				out = append(out, v)
			}
		}
	}
	return out
}

// registration makes what the row says of a vehicle.
func (r *reader) registration() []event.Event {
	ev := event.Event{Kind: event.VehicleEvent, Vehicle: r.need("vehicle"), Time: time.Unix(0, 0).UTC()}
	ev.Recorded, ev.ID = ev.Time, event.ID{Source: r.source, ID: "vehicle-" + ev.Vehicle}
	r.paths["subject"] = r.col(r.fields["vehicle"])
	if r.out {
		return nil
	}
	d := &event.VehicleData{Meters: slices.Clone(r.of.meters), Tags: map[string]string{}}
	ev.Data = d
	for _, f := range intake.Fields(event.VehicleEvent) {
		if v := r.fields[f.Key]; v != nil {
			r.paths["data."+f.Path] = r.col(v)
			r.registerField(f, v, f.In(d))
		}
	}
	for _, t := range r.of.tags {
		if s, _ := r.named(t.value, oneBlank(r.cell(t.value))); s != "" && !r.means(s, r.notMeasured) {
			d.Tags[t.name] = s
		}
	}
	for _, c := range r.of.components {
		if def, ok := r.part(c, len(d.Components)); ok {
			d.Components = append(d.Components, def)
		}
	}
	return []event.Event{ev}
}

// registerField fills one field of the vehicle from its cell.
func (r *reader) registerField(f intake.Field, v *value, at any) {
	s, _ := r.named(v, oneBlank(r.cell(v)))
	if r.means(s, r.notMeasured) {
		s = ""
	}
	switch at := at.(type) {
	case *string:
		*at = s
		r.dated(f, v, at)
		if f.Key == "kind" && s == "" {
			r.need("kind")
		}
	case *bool:
		*at = r.yes(f.Key)
	case *[]string:
		parts := []string{s}
		if v.split != "" {
			parts = strings.Split(r.cell(v), v.split)
		}
		for _, p := range parts {
			if name, _ := r.named(v, oneBlank(p)); name != "" {
				*at = append(*at, name)
			}
		}
	}
}

// dated reads what stands for a date as one.
func (r *reader) dated(f intake.Field, v *value, at *string) {
	if f.Key != "in service" || *at == "" {
		return
	}
	m, w := r.dates.parse(*at, "")
	if *at = m.date; w.any() {
		r.wrong(v, w)
	}
}

// part is a component of the row; ok is false where the row has no such one: the cell
// of its kind is empty, or left out.
func (r *reader) part(c componentColumns, index int) (def event.ComponentDef, ok bool) {
	def.Name = c.name
	for _, f := range columnsOf(intake.ComponentFields()) {
		v := c.fields[f.Key]
		if v == nil {
			continue
		}
		path := fmt.Sprintf("data.components[%d].%s", index, f.Path)
		r.paths[path] = r.col(v)
		switch at := f.In(&def).(type) {
		case *string:
			if *at, _ = r.named(v, oneBlank(r.cell(v))); r.means(*at, r.notMeasured) {
				*at = ""
			}
			r.dated(f, v, at)
		case **unit.Quantity:
			*at = r.quantity(v, path)
		}
	}
	return def, def.Kind != ""
}
