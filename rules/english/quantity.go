package english

import "telltale/rules/unit"

// Quantity writes a quantity in whole units with commas, "45,000 km"; nil is "".
func Quantity(q *unit.Quantity) string {
	if q == nil {
		return ""
	}
	return unit.Grouped(q.Value) + " " + q.Unit
}

// Amount writes v, in the base unit of its kind, in whole ones of the unit u with
// commas: 45,000,000 m in "km" are "45,000 km".
func Amount(v float64, u string) string { return unit.Grouped(unit.From(v, u)) + " " + u }

// Volume writes litres to a tenth of the unit u of volume: "4.2 qt".
func Volume(litres float64, u string) string { return rounded(unit.From(litres, u), 1) + " " + u }
