package intake

import (
	"bytes"
	"maps"
	"slices"

	"gopkg.in/yaml.v3"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// RegisterText is the text of a register (vehicles.yaml) of those registrations, in the
// order given: what [Register] reads as the same again. With entries the text is the
// entries alone, to be put under the vehicles of a register that there is.
func RegisterText(registrations []event.Event, entries bool) ([]byte, error) {
	vehicles := &yaml.Node{Kind: yaml.MappingNode}
	for _, ev := range registrations {
		d := ev.Data.(*event.VehicleData)
		put(vehicles, ev.Vehicle, fieldsNode(vehicleFields, d))
	}
	var out bytes.Buffer
	enc := yaml.NewEncoder(&out)
	enc.SetIndent(2)
	root := &yaml.Node{Kind: yaml.MappingNode}
	put(root, "vehicles", vehicles)
	if err := enc.Encode(root); err != nil {
		return nil, err
	}
	text := out.Bytes()
	if entries {
		_, text, _ = bytes.Cut(text, []byte("\n"))
	}
	return text, nil
}

func put(m *yaml.Node, key string, value *yaml.Node) {
	m.Content = append(m.Content, scalar(key), value)
}

// scalar is a text, in quotes where YAML would read it as something else.
func scalar(text string) *yaml.Node {
	return &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: text}
}

// fieldsNode has the fields that say something, by their keys in the register.
func fieldsNode(fields []Field, data any) *yaml.Node {
	m := &yaml.Node{Kind: yaml.MappingNode}
	for _, f := range fields {
		if f.Key == Apart {
			continue
		}
		if n := fieldNode(f.In(data)); n != nil {
			if f.Path == "inService" {
				n.Tag = "!!timestamp" // a date needs no quotes
			}
			put(m, f.Key, n)
		}
	}
	return m
}

// fieldNode is what the register says of a field; nil where it says nothing.
func fieldNode(at any) *yaml.Node {
	short := &yaml.Node{Kind: yaml.MappingNode, Style: yaml.FlowStyle}
	switch at := at.(type) {
	case *string:
		if *at == "" {
			return nil
		}
		return scalar(*at)
	case *bool:
		if !*at {
			return nil
		}
		return &yaml.Node{Kind: yaml.ScalarNode, Value: "yes"}
	case **unit.Quantity:
		if *at == nil {
			return nil
		}
		return scalar((*at).String())
	case *[]string:
		short.Kind = yaml.SequenceNode
		for _, s := range *at {
			short.Content = append(short.Content, scalar(s))
		}
	case *map[string]string:
		for _, name := range slices.Sorted(maps.Keys(*at)) {
			put(short, name, scalar((*at)[name]))
		}
	case *map[string]unit.Quantity:
		for _, name := range slices.Sorted(maps.Keys(*at)) {
			put(short, name, scalar((*at)[name].String()))
		}
	case *[]event.MeterDef:
		for _, m := range *at {
			if m.Was == nil {
				put(short, m.Name, scalar(m.Kind))
				continue
			}
			n := fieldsNode(meterFields, &m)
			n.Style = yaml.FlowStyle
			put(short, m.Name, n)
		}
	case *[]event.ComponentDef:
		short.Style = 0
		for i := range *at {
			n := fieldsNode(componentFields, &(*at)[i])
			n.Style = yaml.FlowStyle
			put(short, (*at)[i].Name, n)
		}
	}
	if len(short.Content) == 0 {
		return nil
	}
	return short
}
