// Package stranger tells of vehicles that nobody registered: who reports of them, since
// when, and what a registration would have to say. It reads a record and changes nothing.
package stranger

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/record"
	"telltale/rules/unit"
)

// Vehicle is one that nobody registered. Its events are kept for a while, and not judged.
type Vehicle struct {
	Vehicle string `json:"vehicle"`
	// First and Last are when its first and latest event happened; Events are those that
	// are kept of it.
	First   time.Time `json:"first"`
	Last    time.Time `json:"last"`
	Events  int       `json:"events"`
	Sources []string  `json:"sources"` // that report of it, sorted
	// Meters are those that were read, by name; Components those that were sampled or worked
	// on.
	Meters     []Meter  `json:"meters,omitempty"`
	Components []string `json:"components,omitempty"`
}

// Meter is one that was read.
type Meter struct {
	Name  string `json:"name"`
	Hours bool   `json:"hours,omitempty"` // it counts hours, not a distance
}

// Of tells of a record without a registration.
func Of(r *record.Record) Vehicle {
	c := collector{Vehicle: Vehicle{Vehicle: r.Shown()}, sources: map[string]bool{}, components: map[string]bool{}, meters: map[string]bool{}}
	for i := range r.Meters {
		m := &r.Meters[i]
		c.meters[m.Name] = m.Hours
		for j := range m.Readings {
			c.see(&m.Readings[j].Stamp)
		}
		for j := range m.Replaced {
			c.see(&m.Replaced[j].Stamp)
		}
	}
	for i := range r.Services {
		c.see(&r.Services[i].Stamp)
		c.of(r.Services[i].Component, r.Services[i].Meters)
	}
	for i := range r.Samples {
		c.see(&r.Samples[i].Stamp)
		c.of(r.Samples[i].Component, r.Samples[i].Meters)
	}
	delete(c.components, "")
	c.Sources, c.Components = slices.Sorted(maps.Keys(c.sources)), slices.Sorted(maps.Keys(c.components))
	for _, name := range slices.Sorted(maps.Keys(c.meters)) {
		c.Meters = append(c.Meters, Meter{name, c.meters[name]})
	}
	return c.Vehicle
}

// collector goes through what is kept of a vehicle.
type collector struct {
	Vehicle
	sources, components map[string]bool
	meters              map[string]bool // whether it counts hours
}

func (c *collector) see(s *record.Stamp) {
	if s.Void {
		return
	}
	at := time.Unix(0, s.At).UTC()
	if c.Events == 0 || at.Before(c.First) {
		c.First = at
	}
	if at.After(c.Last) {
		c.Last = at
	}
	c.Events++
	c.sources[s.ID.Source] = true
}

// of notes what work or a sample names.
func (c *collector) of(component string, meters map[string]unit.Quantity) {
	c.components[component] = true
	for name, q := range meters {
		k, _ := unit.Of(q.Unit)
		c.meters[name] = k == unit.Time
	}
}

// Sort orders strangers, those that reported last first.
func Sort(list []Vehicle) {
	slices.SortFunc(list, func(a, b Vehicle) int { return cmp.Or(b.Last.Compare(a.Last), strings.Compare(a.Vehicle, b.Vehicle)) })
}

// Register are the lines with which vehicles.yaml would register the vehicle. What nobody
// but its keeper can know says FILL IN.
func (v *Vehicle) Register() string {
	var b strings.Builder
	fmt.Fprintf(&b, "  %s:\n    name: %s\n    kind: FILL IN\n", written(v.Vehicle), written(v.Vehicle))
	var meters []string
	for _, m := range v.Meters {
		kind := "distance"
		if m.Hours {
			kind = "hours"
		}
		meters = append(meters, written(m.Name)+": "+kind)
	}
	if meters == nil {
		meters = []string{"odometer: distance"}
	}
	fmt.Fprintf(&b, "    meters: {%s}\n", strings.Join(meters, ", "))
	if len(v.Components) > 0 {
		b.WriteString("    components:\n")
	}
	for _, c := range v.Components {
		fmt.Fprintf(&b, "      %s: {kind: FILL IN, fluid: FILL IN}\n", written(c))
	}
	return b.String()
}

// written is a name as YAML reads it back.
func written(name string) string {
	b, err := yaml.Marshal(name)
	if text := strings.TrimSuffix(string(b), "\n"); err == nil && !strings.Contains(text, "\n") {
		return text
	}
	return strconv.Quote(name)
}
