package form

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"telltale/engine/intake/typed"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// marks are those by which a person's number is read: their decimal mark and, between
// thousands, the other one, or a blank or an apostrophe where there is one.
func (t Typist) marks(text string) typed.Marks {
	m := typed.Marks{Decimal: ".", Thousands: ","}
	if t.DecimalComma {
		m.Decimal, m.Thousands = m.Thousands, m.Decimal
	}
	if m.Thousands != "" && !strings.Contains(text, m.Thousands) {
		for _, mark := range []string{" ", "'"} {
			if _, f := (typed.Marks{Decimal: m.Decimal, Thousands: mark}).Number(text); f == nil {
				m.Thousands = mark
			}
		}
	}
	return m
}

// Number is the number in the field, from least to most; ok is false where there is none
// or what was typed is none.
func (d *Field) Number(least, most float64) (v float64, ok bool) {
	return d.number(d.Value(), least, most)
}

func (d *Field) number(text string, least, most float64) (v float64, ok bool) {
	if text = typed.OneBlank(text); text == "" {
		d.empty()
		return 0, false
	}
	m := d.form.marks(text)
	v, f := m.Number(text)
	switch {
	case f != nil:
		d.Fault("%s", wordsOf(f, m))
	case v < least || v > most:
		d.Fault("%s is not from %s to %s", line(text), unit.Grouped(least), unit.Grouped(most))
	default:
		return v, true
	}
	return 0, false
}

// wordsOf say what is wrong with a number, and what to write instead.
func wordsOf(f *typed.Fault, m typed.Marks) string {
	var write []string
	for _, like := range likely(f.Text, m) {
		if v, wrong := m.Number(like); wrong == nil && !slices.Contains(write, like) && v >= 0 {
			write = append(write, like)
		}
	}
	if len(write) == 0 {
		return fmt.Sprintf("“%s” is not a number", line(f.Text))
	}
	return fmt.Sprintf("%s: write %s", line(f.Text), strings.Join(write, " or "))
}

// likely are what a number that cannot be read may be meant for, in marks that can: its
// last mark as the decimal one, none at all, a digit that was left out.
func likely(text string, m typed.Marks) []string {
	bare := func(s string) string {
		return strings.NewReplacer(",", "", ".", "", " ", "", "'", "").Replace(s)
	}
	i := strings.LastIndexAny(text, ",.")
	if i < 0 {
		return []string{bare(text)}
	}
	whole, part := bare(text[:i]), text[i+1:]
	if whole == "" {
		whole = "0"
	}
	all := []string{whole + m.Decimal + part, bare(text)}
	switch {
	case part == "" || strings.Count(text, text[i:i+1]) > 1: // 5. and 1.234.567
		return all[1:]
	case whole == "0" || strings.ContainsAny(text[:i], ",. '"): // .5 and 1.234,5
		return all[:1]
	}
	return all
}

// Quantity is the number in the field with its unit: the one that was typed behind it or
// chosen beside it, else the person's own; nil where there is none. Most is in the kind's
// base unit. Units must hold the choices, the person's own first, or be left empty for a
// kind with one.
func (d *Field) Quantity(k unit.Kind, most float64) *unit.Quantity {
	text, in := d.unitOf(k)
	if d.fault != "" {
		return nil
	}
	limit := unit.From(most, in)
	v, ok := d.number(text, 0, limit)
	if !ok {
		return nil
	}
	if meant := d.twoNumbers(text); meant != "" && (k == unit.Distance || k == unit.Time) {
		d.Fault("%s may be two numbers: write %s, or %s", line(text), meant, strconv.FormatFloat(v, 'f', 1, 64))
		return nil
	}
	return &unit.Quantity{Value: v, Unit: in}
}

// Over asks back once a quantity that is more than there can be, of what is named; where
// nobody says how much that is, nothing is asked.
func (d *Field) Over(q, most *unit.Quantity, what string) {
	if q == nil || most == nil {
		return
	}
	have, kind, err := q.Base()
	limit, err2 := most.As(kind)
	if err != nil || err2 != nil || have <= limit*(1+1e-9) {
		return
	}
	d.Doubt("%s is more than the %s %s that the %s holds", english.Short(q.Value)+" "+q.Unit, english.Short(unit.From(limit, q.Unit)), q.Unit, what)
}

// twoNumbers is what a number with a decimal mark before just three digits is too, if
// the mark stands between thousands; "" where it cannot.
func (d *Field) twoNumbers(text string) string {
	m := d.form.marks(text)
	if text = typed.OneBlank(text); strings.Contains(text, m.Thousands) || !typed.InThrees(text, m.Decimal) {
		return ""
	}
	return strings.ReplaceAll(text, m.Decimal, "")
}

// unitOf is the number that was typed, and its unit.
func (d *Field) unitOf(k unit.Kind) (text, in string) {
	text = typed.OneBlank(d.Value())
	end := strings.TrimRightFunc(text, unicode.IsLetter)
	in = d.Unit()
	if tail := text[len(end):]; tail != "" && end != "" {
		tail = cmp.Or(unit.Spoken(tail), tail)
		switch kind, ok := unit.Of(tail); {
		case ok && kind == k:
			return end, tail
		case ok:
			d.Fault("%s: write the number alone, in %s", line(text), strings.Join(d.Units, " or "))
		}
	}
	return text, in
}

// Unit is the unit that was chosen for the field: the first of Units unless another was.
func (d *Field) Unit() string {
	if len(d.Units) == 0 {
		return ""
	}
	chosen := d.form.values.Get(d.UnitName())
	return d.Units[max(0, slices.Index(d.Units, chosen))]
}

// UnitName is the name of the field in which the unit is chosen.
func (d *Field) UnitName() string { return d.Name + "-in" }

// In sets the units to choose among, the person's own first.
func (d *Field) In(units ...string) *Field {
	d.Units = units
	return d
}

// OwnFirst are the units of a kind that people read in, the person's own first.
func (t Typist) OwnFirst(k unit.Kind) []string {
	all := slices.Clone(unit.Read(k))
	if i := slices.Index(all, t.Units.Of(k)); i > 0 {
		all = slices.Insert(slices.Delete(all, i, i+1), 0, t.Units.Of(k))
	}
	return all
}

// Typed is a quantity as a job takes it, "81234.5km": never with three decimals, which
// would be asked back.
func Typed(q *unit.Quantity) string {
	if q == nil {
		return ""
	}
	text := strconv.FormatFloat(q.Value, 'f', -1, 64)
	if _, part, _ := strings.Cut(text, "."); len(part)%3 == 0 && part != "" {
		text += "0"
	}
	return text + q.Unit
}
