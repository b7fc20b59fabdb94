// Package quantity says what a number of a condition measures: a distance, so much for each
// hour, a ratio. It reckons with that as a condition reckons with the numbers, and names it
// for people.
package quantity

import (
	"cmp"
	"fmt"
	"strings"

	"telltale/rules/unit"
)

// Quantity is what a number measures. It is known when an expression is compiled, so that
// iron is not compared with a distance; nothing of it is left when it runs.
type Quantity struct {
	Powers Dimension
	In     string // its unit, where that is one: "km", "mg/kg"
	// Bare: a number that is written out, which takes what the other side measures.
	Bare bool
	// Difference: of two results. A temperature of 20 degC is 68 degF, but 20 degC more are
	// 36 degF more.
	Difference bool
	// Index: what a laboratory reports as a number without a unit. It may be set beside any
	// result, as a ferrous index is beside the iron.
	Index bool
}

// Dimension is the powers of the kinds of quantity, by kind: 1 of a distance for a
// distance, -1 of one for what is given for each kilometre, none for a ratio.
type Dimension [32]int8

// Ratio is that of a number without a unit.
var Ratio Dimension

// Only is the kind of a quantity that measures one and nothing else.
func (q Quantity) Only() (k unit.Kind, ok bool) {
	for i, p := range q.Powers {
		switch {
		case p == 1 && k == unit.None:
			k = unit.Kind(i)
		case p != 0:
			return unit.None, false
		}
	}
	return k, k != unit.None
}

// Beside reports whether one is an index and the other may be set beside it.
func (q Quantity) Beside(o Quantity) bool {
	for _, k := range []unit.Kind{unit.Distance, unit.Time, unit.Days, unit.Volume} {
		if q.Powers[k] != 0 || o.Powers[k] != 0 {
			return false
		}
	}
	return q.Index || o.Index
}

// ShownIn is the unit by which evidence shows a number that was reckoned; "" for one that
// is told as a number alone.
func (q Quantity) ShownIn() string {
	switch k, _ := q.Only(); k {
	case unit.Temperature:
		if q.Difference {
			return ""
		}
		return q.In
	case unit.Distance, unit.Time, unit.Days, unit.Volume, unit.Pressure:
		return q.In
	}
	return ""
}

// Times is what the product measures, or with -1 the quotient.
func (q Quantity) Times(o Quantity, sign int8) Quantity {
	out := Quantity{Bare: q.Bare && o.Bare}
	for i := range q.Powers {
		out.Powers[i] = q.Powers[i] + sign*o.Powers[i]
	}
	switch {
	case o.Powers == Ratio:
		out.In, out.Difference, out.Index = q.In, q.Difference, q.Index
	case q.Powers == Ratio && sign > 0:
		out.In, out.Difference, out.Index = o.In, o.Difference, o.Index
	}
	return out
}

// Plus is what the sum of two quantities of one kind measures, or with -1 the difference.
func (q Quantity) Plus(o Quantity, sign int) Quantity {
	switch {
	case q.Bare:
		return o
	case o.Bare:
		return q
	}
	q.In = cmp.Or(q.In, o.In)
	q.Difference = q.Difference && o.Difference || sign < 0 && !q.Difference && !o.Difference
	return q
}

// Nouns are what people call the kinds that no laboratory reports.
var Nouns = map[unit.Kind]string{unit.Distance: "distance", unit.Time: "hour", unit.Days: "day", unit.Volume: "volume"}

// alone is what they call one of these by itself, where that is not "a distance".
var alone = map[unit.Kind]string{unit.Time: "running hours", unit.Days: "days of the calendar"}

// String is the quantity as an error text has it.
func (q Quantity) String() string {
	if q.Bare || q.Powers == Ratio {
		return "a number without a unit"
	}
	if k, ok := q.Only(); ok && !q.Difference {
		if name := unit.Names(k); len(name) > 0 && Nouns[k] == "" && name[0] != k.String() {
			return fmt.Sprintf("%s (%s)", k, cmp.Or(q.In, name[0]))
		}
		return cmp.Or(alone[k], k.String())
	}
	var of, per []string
	for i, p := range q.Powers {
		k := unit.Kind(i)
		noun := Nouns[k]
		if noun == "" && p != 0 {
			noun = unit.Names(k)[0]
		}
		for range max(p, -p) {
			if p > 0 {
				of = append(of, noun)
			} else {
				per = append(per, noun)
			}
		}
	}
	out := strings.Join(of, " times ")
	if len(per) > 0 {
		out = strings.TrimSpace(cmp.Or(out, "1") + " per " + strings.Join(per, " and "))
	}
	if q.Difference && len(per) == 0 {
		return "a difference in " + out
	}
	return out
}

// Unlike is what to write instead of two that measure different things.
func Unlike(l, r Quantity) string {
	a, _ := l.Only()
	b, _ := r.Only()
	switch {
	case a == unit.Time && b == unit.Days || a == unit.Days && b == unit.Time:
		return "hours are run, days are of the calendar: ask both for one of them"
	case a == unit.Distance && b == unit.Time || a == unit.Time && b == unit.Distance:
		return "ask both by distance, or both by hours"
	case l.Powers == Ratio || r.Powers == Ratio:
		return "compare a ratio with a ratio or a number, and a quantity with its like"
	}
	return "compare like with like, or write a number in place of one"
}

// OneUnit is what to write where two of a kind are in two units, of which in is one.
func OneUnit(k unit.Kind, in string) string {
	key := map[unit.Kind]string{unit.Volume: "volume", unit.Temperature: "temperature", unit.Pressure: "pressure"}[k]
	if key == "" {
		return "measure both in one unit"
	}
	return "add `units: {" + key + ": " + in + "}` to the file, so that both are in one"
}
