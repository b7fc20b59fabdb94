package engine

import (
	"encoding/json"

	"telltale/engine/event"
)

// interned interns values that many vehicles share: the sources of their events, their
// kinds, meters, components, tags and people. It is bounded, and starts over when full;
// what was given out stays as it is.
type interned struct {
	words      map[string]string
	meters     map[string][]event.MeterDef
	components map[string][]event.ComponentDef
	tags       map[string]map[string]string
	people     map[string][]string
}

// keptInterned bounds each of the lists.
const keptInterned = 4096

// word is the same text.
func (a *interned) word(s string) string {
	if one, ok := a.words[s]; ok {
		return one
	}
	return keepOne(&a.words, s, s)
}

// registration is the same registration.
func (a *interned) registration(v *event.VehicleData) *event.VehicleData {
	if v == nil {
		return nil
	}
	c := *v
	c.Kind, c.InService, c.Zone = a.word(v.Kind), a.word(v.InService), a.word(v.Zone)
	c.Meters, c.Components = oneOf(&a.meters, v.Meters), oneOf(&a.components, v.Components)
	c.Tags, c.People = oneOf(&a.tags, v.Tags), oneOf(&a.people, v.People)
	return &c
}

// oneOf is the value again, or one with the same JSON that came before.
func oneOf[T any](table *map[string]T, v T) T {
	text, err := json.Marshal(v)
	if err != nil {
		return v
	}
	if one, ok := (*table)[string(text)]; ok {
		return one
	}
	return keepOne(table, string(text), v)
}

func keepOne[T any](table *map[string]T, key string, v T) T {
	if *table == nil || len(*table) >= keptInterned {
		*table = map[string]T{}
	}
	(*table)[key] = v
	return v
}
