package event

import (
	"maps"
	"slices"
	"strings"

	"telltale/rules/unit"
)

// Figures are what the register says of a component to whoever works on it: how much
// fluid it holds and how tight what is drawn, each by the register's own source. A
// register that names no source gives none.
type Figures struct {
	Capacity *unit.Quantity           `json:"capacity,omitempty"`
	Torque   map[string]unit.Quantity `json:"torque,omitempty"`
	Source   string                   `json:"source"`
}

// confirmFigures stands behind every such figure.
const confirmFigures = "confirm against the maker's manual"

// Figures are those of the component; nil where there are none.
func (c *ComponentDef) Figures() *Figures {
	if c == nil || c.Source == "" || c.Capacity == nil && len(c.Torque) == 0 {
		return nil
	}
	return &Figures{Capacity: c.Capacity, Torque: c.Torque, Source: c.Source}
}

// TorqueText is "drain plug 35 newton-metres (26 pound-force feet, 310 pound-force
// inches)", by name; "" where there is none.
func (f *Figures) TorqueText() string {
	var all []string
	for _, name := range slices.Sorted(maps.Keys(f.Torque)) {
		all = append(all, name+" "+unit.TorqueWords(f.Torque[name]))
	}
	return strings.Join(all, ", ")
}

// Text is the figures in a line, with their source and what to do with them. capacity
// writes a volume in litres as its reader has it.
func (f *Figures) Text(capacity func(litres float64) string) string {
	var all []string
	if f.Capacity != nil {
		if litres, err := f.Capacity.As(unit.Volume); err == nil {
			all = append(all, "holds "+capacity(litres))
		}
	}
	if t := f.TorqueText(); t != "" {
		all = append(all, "torque: "+t)
	}
	return strings.Join(append(all, confirmFigures, "source: "+f.Source), "; ")
}
