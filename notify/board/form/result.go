package form

import (
	"strings"

	"telltale/engine/intake/typed"
)

// Result is a value as an instrument or a laboratory gives it: a number, perhaps open on
// one side, perhaps with decimals that are noughts.
type Result struct {
	Value    float64
	Below    bool // <5: below what can be measured
	Above    bool // >5
	Decimals int  // as written, 2 for 6.50
}

// Result is the value in the field, with < or > before the number where it is open on that
// side; nil where there is none or what was typed is none.
func (d *Field) Result(least, most float64) *Result {
	text := typed.OneBlank(d.Value())
	var r Result
	for mark, open := range map[string]*bool{"<": &r.Below, ">": &r.Above, "≤": &r.Below, "≥": &r.Above} {
		if rest, ok := strings.CutPrefix(text, mark); ok {
			*open, text = true, rest
			break
		}
	}
	v, ok := d.number(text, least, most)
	if !ok {
		return nil
	}
	r.Value = v
	if _, decimals, _ := strings.Cut(text, d.form.marks(text).Decimal); strings.HasSuffix(decimals, "0") {
		r.Decimals = len(decimals)
	}
	return &r
}
