package sheets

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat"
)

// FleetYAML are baselines as a fleet of such machines would have written them down from
// its own sheets: of each kind of machine the mean and the spread of sound ones' results
// at the usual age, by one laboratory, and the fresh fluid's data sheet. It is the text
// under `baselines:` in a rule file.
func FleetYAML() string {
	var b strings.Builder
	for _, m := range machines {
		means, spreads, fresh := m.usually()
		fmt.Fprintf(&b, "  %s of the bench:\n    where: component.kind == %q && component.fluid == %q\n    fluid age: %g km\n", m.name, m.kind, m.fluid, m.usual)
		fmt.Fprintf(&b, "    source: made of %d sound machines of the bench\n    mean: {%s}\n    spread: {%s}\n    fresh: {%s}\n", surveyed, means, spreads, fresh)
	}
	return b.String()
}

// surveyed is how many sound machines of a kind the fleet has.
const surveyed = 40

func (m *machine) usually() (means, spreads, fresh string) {
	r := seeded("fleet of "+m.name, 0)
	values := map[string][]float64{}
	l := laboratory{bias: map[string]float64{}}
	for range surveyed {
		o := ran(r, m, newMaker(r, m, 1), 1)
		for _, f := range m.figures {
			values[f.analyte] = append(values[f.analyte], l.measured(r, f.analyte, o.v[f.analyte]))
		}
	}
	var mean, spread, can []string
	for _, f := range m.figures {
		if f.fresh > 0 || f.made == 0 {
			can = append(can, f.analyte+": "+figures(f.fresh))
		}
		if f.made == 0 && f.fresh == 0 {
			continue // nothing is usual
		}
		at, sd := stat.MeanStdDev(values[f.analyte], nil)
		mean, spread = append(mean, f.analyte+": "+figures(at)), append(spread, f.analyte+": "+figures(sd))
	}
	return strings.Join(mean, ", "), strings.Join(spread, ", "), strings.Join(can, ", ")
}

// figures writes a number with three of them.
func figures(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 2 - int(math.Floor(math.Log10(math.Abs(v))))
	return strconv.FormatFloat(v, 'f', max(digits, 0), 64)
}
