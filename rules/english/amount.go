package english

import (
	"cmp"
	"math"
	"strconv"
	"strings"

	"telltale/rules/unit"
)

// Reader is for whom quantities are written. The zero Reader reads metric units.
type Reader struct {
	Units unit.System
	// Marked: who reads the text is not known yet. Quantities stand in it as marks, of
	// which [Worded] makes words.
	Marked bool
}

// Amount writes a quantity, of which v is in the base unit of the kind, in whole units of
// the reader: "88,514 km". A volume, a temperature and a pressure are written to a tenth.
func (r Reader) Amount(v float64, k unit.Kind) string { return r.write(mark{v, k, 0}) }

// Stated writes a figure that a person chose and wrote, such as the 5,000 km of "look
// again within 5,000 km": in the unit it was written in, exactly; in another, with no more
// digits than it had: "3,000 mi".
func (r Reader) Stated(v float64, k unit.Kind, digits int) string { return r.write(mark{v, k, digits}) }

// Figures writes a quantity with three figures that count: "4.25 L".
func (r Reader) Figures(v float64, k unit.Kind) string { return r.write(mark{v, k, figures}) }

// Rate writes what a rate comes to over what [Reader.Per] names, with three figures that
// count; v is for each metre.
func (r Reader) Rate(v float64) string { return r.write(mark{v, unit.Distance, rate}) }

// Per is the distance for which rates are told: "1,000 km".
func (r Reader) Per() string { return r.write(mark{0, unit.Distance, per}) }

// Typed writes a quantity as it is typed into a command, to a tenth: "81234km".
func (r Reader) Typed(v float64, k unit.Kind) string { return r.write(mark{v, k, typed}) }

// How a quantity is written where no digits are given.
const (
	figures = -1 - iota
	rate
	per
	typed
)

func (r Reader) write(m mark) string {
	if r.Marked {
		return m.String()
	}
	return m.words(r.Units)
}

// mark is a quantity within a text, before it is known who reads it.
type mark struct {
	base   float64 // in the kind's base unit
	kind   unit.Kind
	digits int // that count, of a figure that somebody chose; 0: what was measured or reckoned; below 0 another way to write it
}

// Marks stand between two control characters, which no text from outside contains.
const markBegin, markEnd = "\x02", "\x03"

func (m mark) String() string {
	return markBegin + strconv.FormatFloat(m.base, 'g', -1, 64) + " " + strconv.Itoa(int(m.kind)) + " " + strconv.Itoa(m.digits) + markEnd
}

// words writes the quantity in the units.
func (m mark) words(s unit.System) string {
	u := s.Or(unit.Metric).Of(m.kind)
	if u == "" {
		u = own[m.kind]
	}
	v := unit.From(m.base, u)
	switch m.digits {
	case figures:
		return Figures(v) + " " + Unit(u)
	case rate:
		return Figures(m.base * perOf(u))
	case per:
		return "1,000 " + u
	case typed:
		return rounded(v, 1) + u
	}
	switch {
	case m.digits > 0 && m.kind == unit.Temperature:
		v = degrees(v, m.digits)
	case m.digits > 0:
		v = significant(v, m.digits)
	}
	u = Unit(u)
	if m.kind == unit.Days && math.Round(v) == 1 {
		u = "day"
	}
	if m.kind == unit.Volume || m.kind == unit.Temperature || m.kind == unit.Pressure {
		return rounded(v, 1) + " " + u
	}
	return unit.Grouped(v) + " " + u
}

// perOf is 1,000 of the unit of distance, in metres.
func perOf(u string) float64 {
	base, _, _ := unit.Base(1000, u)
	return base
}

// own are the units of kinds that everybody reads in the same.
var own = map[unit.Kind]string{unit.Time: "h", unit.Days: "days"}

// signs are how people read units whose names are for files and programs.
var signs = map[string]string{"degC": "°C", "degF": "°F"}

// Unit is a unit as people read it: "degC" is "°C", most are what they are in files.
func Unit(name string) string { return cmp.Or(signs[name], name) }

// degrees rounds a temperature to whole degrees, unless that is how it was written.
func degrees(v float64, digits int) float64 {
	if s := significant(v, digits); math.Abs(s-v) < 1e-9 {
		return s
	}
	return math.Round(v)
}

// near is how far a figure may be rounded, as a share of it: 3,000 mi stand for 5,000 km,
// but 1,000 mi would be too few for 2,000.
const near = 0.05

// significant rounds v to so many digits that count, unless it has no more by itself, and
// to more where it would no longer be near it.
func significant(v float64, digits int) float64 {
	if v == 0 || !finite(v) {
		return v
	}
	if whole := math.Round(v); math.Abs(v-whole) <= 1e-9*math.Abs(v) && unitsOf(whole) <= digits {
		return whole
	}
	for ; ; digits++ {
		p := math.Pow10(digits - 1 - int(math.Floor(math.Log10(math.Abs(v)))))
		if r := math.Round(v*p) / p; math.Abs(r-v) <= near*math.Abs(v) || digits > 15 {
			return r
		}
	}
}

// Digits are how many digits count of a figure that somebody chose in one of the units, by
// the unit in which it has the fewest; v is in the base unit.
func Digits(v float64, units ...string) int {
	least := 15 // more than anybody writes
	for _, u := range units {
		n := unit.From(v, u)
		for d := 1; d < least; d++ {
			if r, err := strconv.ParseFloat(strconv.FormatFloat(n, 'e', d-1, 64), 64); err == nil && math.Abs(r-n) <= 1e-9*math.Abs(n) {
				least = d
			}
		}
	}
	return least
}

// unitsOf counts the digits of a whole number up to its trailing zeros.
func unitsOf(v float64) int {
	return len(strings.TrimRight(strconv.FormatFloat(math.Abs(v), 'f', 0, 64), "0"))
}

// Worded writes out the marked quantities of a text in a reader's units. A text without
// marks stays as it is.
func Worded(text string, s unit.System) string {
	var b strings.Builder
	Marks(text, func(literal string) { b.WriteString(literal) }, func(m Mark) { b.WriteString(m.words(s)) })
	return b.String()
}

// Mark is a quantity that a text contains.
type Mark struct{ mark }

// In writes the quantity out in a reader's units.
func (m Mark) In(s unit.System) string { return m.words(s) }

// markOf reads what String writes between the two control characters.
func markOf(text string) (m mark, ok bool) {
	base, rest, _ := strings.Cut(text, " ")
	kind, digits, _ := strings.Cut(rest, " ")
	v, err1 := strconv.ParseFloat(base, 64)
	k, err2 := strconv.Atoi(kind)
	n, err3 := strconv.Atoi(digits)
	return mark{v, unit.Kind(k), n}, err1 == nil && err2 == nil && err3 == nil
}

// Marks goes through a text: its literal parts and its marked quantities, in order.
func Marks(text string, literal func(string), quantity func(Mark)) {
	for {
		before, rest, found := strings.Cut(text, markBegin)
		if before != "" {
			literal(before)
		}
		if !found {
			return
		}
		inner, after, _ := strings.Cut(rest, markEnd)
		if m, ok := markOf(inner); ok {
			quantity(Mark{m})
		}
		text = after
	}
}
