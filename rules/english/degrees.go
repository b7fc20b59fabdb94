package english

import (
	"regexp"
	"strconv"

	"telltale/rules/unit"
)

var celsius = regexp.MustCompile(`(-?\d+(?:\.\d+)?) ?(?:degC|°C)`)

// Degrees is a name of ours with the temperatures that it holds as somebody reads them:
// "viscosity at 212 degF". It is for names alone: in a sentence, a difference of
// temperatures would be turned into a temperature.
func Degrees(name string, s unit.System) string {
	if s.Temperature != "degF" {
		return name
	}
	return celsius.ReplaceAllStringFunc(name, func(at string) string {
		v, err := strconv.ParseFloat(celsius.FindStringSubmatch(at)[1], 64)
		if err != nil {
			return at
		}
		return Number(unit.From(v, s.Temperature)) + " " + s.Temperature
	})
}
