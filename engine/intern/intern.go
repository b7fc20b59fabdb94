// Package intern shares what the records of many vehicles have in common.
package intern

import (
	"encoding/json"
	"fmt"

	"telltale/engine/event"
)

// Pool shares what many vehicles have in common: the sources of their events, and
// meters, components, tags and people, by type and JSON. It is bounded, and starts over
// when full; what was given out stays as it is. The zero Pool is ready.
type Pool struct {
	words  map[string]string
	values map[string]any
}

const kept = 4096 // words, and four times as many values

// Word is the same text.
func (in *Pool) Word(s string) string {
	one, ok := in.words[s]
	if !ok {
		if in.words == nil || len(in.words) >= kept {
			in.words = map[string]string{}
		}
		one, in.words[s] = s, s
	}
	return one
}

// Registration is the same registration.
func (in *Pool) Registration(v *event.VehicleData) *event.VehicleData {
	if v == nil {
		return nil
	}
	c := *v
	c.Kind, c.InService, c.Zone = in.Word(v.Kind), in.Word(v.InService), in.Word(v.Zone)
	c.Meters, c.Components = oneOf(in, v.Meters), oneOf(in, v.Components)
	c.Tags, c.People = oneOf(in, v.Tags), oneOf(in, v.People)
	return &c
}

// oneOf is the value again, or one that came before and is alike.
func oneOf[T any](in *Pool, v T) T {
	text, err := json.Marshal(v)
	if err != nil {
		return v
	}
	key := fmt.Sprintf("%T %s", v, text)
	if one, ok := in.values[key].(T); ok {
		return one
	}
	if in.values == nil || len(in.values) >= 4*kept {
		in.values = map[string]any{}
	}
	in.values[key] = v
	return v
}
