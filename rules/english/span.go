package english

import (
	"math"
	"strings"

	"telltale/rules/unit"
)

// Span is a quantity within a text, with what it takes to write it in other units.
type Span struct {
	At    int     `json:"at"`   // where it begins in the text, in bytes
	Text  string  `json:"text"` // as it stands there
	Value float64 `json:"value"`
	Unit  string  `json:"unit"` // km, h, L, degC or kPa
	// Digits are how many count, of a figure that somebody chose.
	Digits int `json:"digits,omitempty"`
	// As says how it is written otherwise: "figures", three that count; "rate", what a rate
	// comes to in 1,000 km, without the unit; "per", the 1,000 km alone; "typed", as in a
	// command.
	As string `json:"as,omitempty"`
}

// ways are the names of the ways to write a quantity, by -1 - digits.
var ways = [...]string{"figures", "rate", "per", "typed"}

// Written writes out the marked quantities of a text in a reader's units, and lists them.
// What is no finite number is written and not listed.
func Written(text string, s unit.System) (string, []Span) {
	if !strings.Contains(text, markBegin) {
		return text, nil
	}
	var b strings.Builder
	var all []Span
	Marks(text, func(literal string) { b.WriteString(literal) }, func(m Mark) {
		words := m.In(s)
		if a, ok := spanOf(m.mark, s); ok && finite(m.base) {
			a.At, a.Text = b.Len(), words
			all = append(all, a)
		}
		b.WriteString(words)
	})
	return b.String(), all
}

// Marked is the text with its quantities as marks again. A quantity that does not stand
// where it says is left as it is: somebody else wrote the text.
func Marked(text string, all []Span) string {
	var b strings.Builder
	done := 0
	for _, a := range all {
		m, ok := a.mark()
		if !ok || a.At < done || a.At > len(text) || !strings.HasPrefix(text[a.At:], a.Text) {
			continue
		}
		b.WriteString(text[done:a.At] + m.String())
		done = a.At + len(a.Text)
	}
	return b.String() + text[done:]
}

// spanOf is the mark's quantity with no more decimals than it takes to write it the
// same in any unit.
func spanOf(m mark, s unit.System) (a Span, ok bool) {
	if a.Unit = unit.Metric.Of(m.kind); a.Unit == "" {
		a.Unit, ok = own[m.kind]
		if !ok {
			return a, false
		}
	}
	if m.digits > 0 {
		a.Digits = m.digits
	} else if m.digits < 0 {
		a.As = ways[-1-m.digits]
	}
	switch exact := a; {
	case m.digits == per:
		a.Value = 1000
	case m.digits == rate:
		a.Value = m.base * perOf(a.Unit)
	default:
		a.Value = unit.From(m.base, a.Unit)
		for _, p := range [...]float64{1, 10, 1000, 1e6} {
			exact.Value = math.Round(a.Value*p) / p
			if got, _ := exact.mark(); got.sameIn(&m, s, unit.Metric, customary) {
				return exact, true
			}
		}
	}
	return a, true
}

// customary are the units that are usual in the United States.
var customary = unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}

func (m *mark) sameIn(o *mark, all ...unit.System) bool {
	for _, s := range all {
		if m.words(s) != o.words(s) {
			return false
		}
	}
	return true
}

// mark is the mark that the span was made of; ok is false for none that there is.
func (a *Span) mark() (m mark, ok bool) {
	base, kind, err := unit.Base(a.Value, a.Unit)
	if err != nil {
		return m, false
	}
	m = mark{base, kind, max(0, a.Digits)}
	for i, way := range ways {
		if a.As == way {
			m.digits = -1 - i
		}
	}
	if m.digits == rate {
		m.base = a.Value / perOf(a.Unit)
	}
	return m, true
}
