package rules

import (
	"gopkg.in/yaml.v3"

	"telltale/rules/unit"
)

// fileUnits reads {distance: km, volume: L}: what bare numbers and words of the file
// speak, whatever other files do.
func (e *entry) fileUnits(n *yaml.Node) unit.System {
	var s unit.System
	if n == nil {
		return s
	}
	f := e.Mapping(n, "units", "distance", "volume", "temperature", "pressure")
	for _, said := range []struct {
		key  string
		kind unit.Kind
		to   *string
	}{
		{"distance", unit.Distance, &s.Distance}, {"volume", unit.Volume, &s.Volume},
		{"temperature", unit.Temperature, &s.Temperature}, {"pressure", unit.Pressure, &s.Pressure},
	} {
		if v := f[said.key]; v != nil {
			options := unit.Choices(said.kind)
			*said.to = options[e.Choice(v, "units "+said.key, options...)]
		}
	}
	e.l.units = append(e.l.units, s)
	return s
}
