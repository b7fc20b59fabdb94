package word

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"telltale/rules/analytes"
)

// Evidence is one operand of a condition as it was when the rule fired.
type Evidence struct {
	Of    string  `json:"of"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
	Note  string  `json:"note,omitempty"`
}

// aCall is a word with its arguments, as evidence shows it.
var aCall = regexp.MustCompile(`(\w+)\((?:("(?:[^"\\]|\\.)*")(?:, ([0-9.]+))?|(-?[0-9.]+))?\)`)

var operatorsTold = strings.NewReplacer(" - ", " less ", " + ", " plus ", " * ", " times ", " / ", " over ")

// Told writes what the evidence is of for those who read no rules: "copper, times the
// baseline" for `times("Cu")`, and the words and operators of an expression likewise.
// What has no words, or calls anything else, stays as it is written. Yes reports that
// it is a single word that answers yes (1) or no (0).
func (e *Evidence) Told() (what string, yes bool) {
	calls := aCall.FindAllStringSubmatchIndex(e.Of, -1)
	var b strings.Builder
	end := 0
	for _, at := range calls {
		part := func(n int) string { return e.Of[max(at[2*n], 0):max(at[2*n+1], 0)] }
		d := Called(part(1))
		if d == nil {
			return e.Of, false
		}
		b.WriteString(operatorsTold.Replace(e.Of[end:at[0]]))
		b.WriteString(d.told(part(2), part(3)+part(4)))
		end, yes = at[1], d.Truth && part(0) == e.Of
	}
	if len(calls) == 0 {
		return e.Of, false
	}
	return b.String() + operatorsTold.Replace(e.Of[end:]), yes
}

// told is the word's phrase with its arguments, a quoted name and a number.
func (d *Info) told(quoted, number string) string {
	name, _ := strconv.Unquote(quoted)
	of := name
	if a, ok := analytes.Of(name); ok && (d.Of == Analyte || d.Of == Target) {
		of = a.Title
		number = strings.TrimSpace(number + " " + a.Unit)
	}
	switch d.Of {
	case Nothing:
		return d.Phrase
	case Target:
		return fmt.Sprintf(d.Phrase, of, number)
	case Temperature:
		return fmt.Sprintf(d.Phrase, number)
	}
	return fmt.Sprintf(d.Phrase, of)
}
