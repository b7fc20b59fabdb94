// Package english writes numbers, counts, lists and quantities as people read them in
// a sentence. It is pure, and the only place that knows how this is done; what the
// sentences say stands with those who say it.
//
// A number is written with as many figures as its reader has use for: [Number] has all
// of them, [Figures] three, [FourFigures] four and commas, [Short] and [Signed] two or
// three, [Ratio] two. Whole numbers with commas are [unit.Grouped].
package english

import (
	"math"
	"strconv"
	"strings"

	"telltale/rules/unit"
)

// none stands for what is no number.
const none = "n/a"

func finite(v float64) bool { return math.Abs(v) <= math.MaxFloat64 }

// Number writes v without an exponent, rounded to ten significant digits, which no
// measured value has: "0.3" for 0.1+0.2. Minus zero is "0", NaN and infinities "n/a".
func Number(v float64) string {
	if !finite(v) {
		return none
	}
	if v == 0 {
		return "0" // never -0
	}
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'e', 9, 64), 64)
	if err != nil || !finite(r) {
		r = v
	}
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// Figures writes v with three figures that count: "131", "0.0123", "81200".
func Figures(v float64) string {
	if v == 0 || !finite(v) {
		return Number(v)
	}
	return rounded(v, 2-int(math.Floor(math.Log10(math.Abs(v)))))
}

// FourFigures writes v with at most four figures that count, and commas from a
// thousand on: "4.532", "81,235". NaN and infinities are "n/a".
func FourFigures(v float64) string {
	switch {
	case !finite(v):
		return none
	case math.Abs(v) >= 1000:
		return unit.Grouped(v)
	}
	s := strconv.FormatFloat(v, 'g', 4, 64)
	if strings.Contains(s, "e") {
		s = strconv.FormatFloat(v, 'f', 6, 64)
	}
	return s
}

// Short writes v with two or three figures that count, whole from a hundred on:
// "131", "13.1", "1.31", "0.01".
func Short(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		return rounded(v, 0)
	case a >= 10:
		return rounded(v, 1)
	}
	return rounded(v, 2)
}

// Signed is Short with a plus before what is above zero: "+1.31", "-2", "0".
func Signed(v float64) string {
	s := Short(v)
	if v > 0 && s != "0" {
		return "+" + s
	}
	return s
}

// Ratio writes a ratio with two digits that mean something: "3.2", "12", "0.45".
func Ratio(v float64) string {
	switch {
	case v >= 10:
		return unit.Grouped(v)
	case v >= 1:
		return strconv.FormatFloat(math.Round(v*10)/10, 'f', 1, 64)
	}
	return strconv.FormatFloat(math.Round(v*100)/100, 'f', 2, 64)
}

// rounded writes v with so many digits after the point, or before it where negative.
func rounded(v float64, digits int) string {
	p := math.Pow10(digits)
	return Number(math.Round(v*p) / p)
}

// Quantity writes a quantity in whole units with commas, "45,000 km"; nil is "".
func Quantity(q *unit.Quantity) string {
	if q == nil {
		return ""
	}
	return unit.Grouped(q.Value) + " " + Unit(q.Unit)
}

// Amount writes v, in the base unit of its kind, in whole ones of the unit u with
// commas: 45,000,000 m in "km" are "45,000 km".
func Amount(v float64, u string) string { return unit.Grouped(unit.From(v, u)) + " " + u }

// Volume writes litres to a tenth of the unit u of volume: "4.2 qt".
func Volume(litres float64, u string) string { return rounded(unit.From(litres, u), 1) + " " + u }

// Plural counts what takes an s: "1 sample", "3 samples".
func Plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return strconv.Itoa(n) + " " + what + "s"
}

// Days is "1 day" or "1,003 days".
func Days(n int) string { return Counted(n, "day", "days") }

// Counted counts by either word, with commas: "1 advisory", "1,200 advisories".
func Counted(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return unit.Grouped(float64(n)) + " " + many
}
