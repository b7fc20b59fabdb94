package table

import (
	"fmt"
	"maps"
	"reflect"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

// Comparison is a table of vehicles beside a register.
type Comparison struct {
	New     []event.Event // of the table alone, in its order
	Changed []string      // a line for each field that says something else: `van-1: kind van, in the table car`
	Missing []string      // vehicles of the register that the table does not have, by key
}

// Against compares a table of vehicles with a register, in what the mapping has columns
// for: a register may say more of a vehicle than any table.
func (m *Mapping) Against(register *Fleet, t *Table) (c Comparison) {
	seen := map[string]bool{}
	for _, ev := range t.Events {
		seen[ev.Vehicle] = true
		have, ok := register.Vehicles[ev.Vehicle]
		if !ok {
			c.New = append(c.New, ev)
			continue
		}
		for _, line := range m.differences(have, ev.Data.(*event.VehicleData)) {
			c.Changed = append(c.Changed, ev.Vehicle+": "+line)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(register.Vehicles)) {
		if !seen[key] && !register.Vehicles[key].Retired {
			c.Missing = append(c.Missing, key)
		}
	}
	return c
}

// differences are what the table says otherwise than the register.
func (m *Mapping) differences(have, now *event.VehicleData) (out []string) {
	differ := func(what, a, b string) {
		if a != b {
			out = append(out, fmt.Sprintf("%s %s, in the table %s", what, orNone(a), orNone(b)))
		}
	}
	for _, f := range intake.Fields(event.VehicleEvent) {
		if m.fields[f.Key] != nil && f.Key != "vehicle" {
			differ(f.Key, said(f.In(have)), said(f.In(now)))
		}
	}
	for _, t := range m.of.tags {
		differ("tag "+t.name, have.Tags[t.name], now.Tags[t.name])
	}
	for _, c := range m.of.components {
		a, b := have.ComponentNamed(c.name), now.ComponentNamed(c.name)
		if a == nil || b == nil {
			differ(c.name, there(a), there(b))
			continue
		}
		for _, f := range columnsOf(intake.ComponentFields()) {
			if c.fields[f.Key] != nil {
				differ(c.name+" "+f.Key, said(f.In(a)), said(f.In(b)))
			}
		}
	}
	return out
}

// said is a field's value as text.
func said(at any) string {
	switch v := at.(type) {
	case *[]string:
		return strings.Join(*v, ", ")
	case *bool:
		return map[bool]string{true: "yes"}[*v]
	case **unit.Quantity:
		if *v == nil {
			return ""
		}
		return (*v).String()
	}
	return reflect.ValueOf(at).Elem().String()
}

func there(c *event.ComponentDef) string {
	if c == nil {
		return ""
	}
	return c.Kind
}

func orNone(s string) string {
	if s == "" {
		return "none"
	}
	return s
}
