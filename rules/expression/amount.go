package expression

import (
	"cmp"
	"fmt"
	"regexp"
	"unicode/utf8"

	"telltale/rules/english"
	"telltale/rules/expression/quantity"
	"telltale/rules/unit"
)

// amount is how a text writes a number that is a quantity: in the unit of its reader.
type amount struct {
	kind   unit.Kind
	unit   string // in which the number is
	digits int    // of a figure that is written out; 0 for any other
	daily  bool   // in a day
	rate   bool   // for each 1,000 of the unit
}

// amountOf is how a text writes the value; nil for one that is written as a number alone:
// a result, a ratio, and hours or days, which all read in the same.
func amountOf(o operand, speaks unit.System) *amount {
	k, single := o.is.Only()
	switch {
	case o.kind != Number || o.is.Difference:
		return nil
	case single && o.is.In != "" && (speaks.Of(k) != "" || o.stated > 0):
		return &amount{kind: k, unit: o.is.In, digits: o.stated}
	case single || o.is.Bare:
		return nil
	}
	rest := o.is
	rest.Powers[unit.Distance], rest.Powers[unit.Days] = 0, 0
	switch d, days := o.is.Powers[unit.Distance], o.is.Powers[unit.Days]; {
	case d == 1 && days == -1 && rest.Powers == quantity.Ratio:
		return &amount{kind: unit.Distance, unit: speaks.Distance, daily: true}
	case d == -1 && days == 0 && rest.Beside(quantity.Quantity{Index: true}):
		return &amount{kind: unit.Distance, unit: speaks.Distance, rate: true}
	}
	return nil
}

// unitAfter finds a unit that a text names right after a quantity.
var unitAfter = map[unit.Kind]*regexp.Regexp{
	unit.Distance:    regexp.MustCompile(`^ ?(km|kilomet(?:re|er)s?|mi|miles?)\b`),
	unit.Volume:      regexp.MustCompile(`^ ?(L|l|lit(?:re|er)s?|qt|quarts?|gal|gallons?)\b`),
	unit.Temperature: regexp.MustCompile(`^ ?(°C|°F|degC|degF)\b`),
	unit.Pressure:    regexp.MustCompile(`^ ?(kPa|bar|psi)\b`),
	unit.Time:        regexp.MustCompile(`^ ?(h|hours?)\b`),
	unit.Days:        regexp.MustCompile(`^ ?(days?)\b`),
}

var (
	perThousand = regexp.MustCompile(`\b1,?000 (km|kilomet(?:re|er)s?|mi|miles?)\b`)
	perDay      = regexp.MustCompile(`^(/day|,? (a|per|each|every) day)\b`)
)

// spelled is the unit that a text names.
func spelled(s string) string {
	if u := unit.Spoken(s); u != "" {
		return u
	}
	return map[string]string{"°C": "degC", "°F": "degF", "day": "days"}[s]
}

// forReaders lets the parts that are quantities bring their units, and takes out of the
// words those that stand there already.
func (t *Template) forReaders(l *Language, src excerpt, speaks unit.System) {
	var out []part
	for i := 0; i < len(t.parts); i++ {
		p, after := t.parts[i], part{}
		if p.value == nil {
			out = append(out, p)
			continue
		}
		p.amount = amountOf(p.value.value, speaks)
		if p.amount != nil && i+1 < len(t.parts) && t.parts[i+1].value == nil {
			i++
			after = t.parts[i]
		}
		out = append(out, p.before(after, l, src)...)
	}
	t.parts = out
}

// before is a quantity and the words after it, which no longer name its unit.
func (p part) before(after part, l *Language, src excerpt) []part {
	a := p.amount
	if a == nil {
		return []part{p}
	}
	find := unitAfter[a.kind]
	if a.rate {
		find = perThousand
	}
	m := find.FindStringSubmatchIndex(after.literal)
	if m == nil && a.rate {
		p.amount = nil // a rate over something else
		return []part{p, after}
	}
	if m == nil {
		m = make([]int, 4)
	} else if name := after.literal[m[2]:m[3]]; a.digits == 0 && cmp.Or(spelled(name), name) != a.unit {
		from := after.from + utf8.RuneCountInString(after.literal[:m[2]])
		l.Questions = append(l.Questions, src.makeFault(from, from+utf8.RuneCountInString(name), "leave the unit out: readers have it in their own",
			fmt.Sprintf("the text says %s, but the number is in %s", name, a.unit)))
	}
	rest := after.literal[m[1]:]
	switch {
	case a.rate:
		return []part{p, {literal: after.literal[:m[0]]}, {per: true}, {literal: rest}}
	case a.daily && !perDay.MatchString(rest):
		rest = " a day" + rest
	}
	return []part{p, {literal: rest}}
}

// write writes a number in the unit of the reader.
func (a *amount) write(v float64, r english.Reader) string {
	base, _, _ := unit.Base(v, a.unit)
	switch {
	case a.rate:
		over, _, _ := unit.Base(1000, a.unit)
		return r.Rate(v / over)
	case a.digits > 0:
		return r.Stated(base, a.kind, a.digits)
	}
	return r.Amount(base, a.kind)
}
