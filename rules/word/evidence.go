package word

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

// Evidence is one operand of a condition as it was when the rule fired.
type Evidence struct {
	Of    string  `json:"of"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit,omitempty"`
	Note  string  `json:"note,omitempty"`
}

// isDifference matches what words answer that take one result from another.
var isDifference = regexp.MustCompile(`^(change|excess|made)\(`)

// In is the evidence in the units in which somebody reads; as it was where it is in these,
// or where the system does not say. What is converted is rounded: to a tenth, a rate to
// four figures.
func (e Evidence) In(s unit.System) Evidence {
	v, u := s.Own(e.Value, e.Unit)
	if u == e.Unit {
		return e
	}
	if isDifference.MatchString(e.Of) {
		v = unit.Difference(e.Value, e.Unit, u)
	}
	if strings.Contains(u, " per ") {
		e.Value, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	} else {
		e.Value = math.Round(v*10) / 10
	}
	e.Unit = u
	return e
}

// aCall is a word with its arguments, as evidence shows it.
var aCall = regexp.MustCompile(`(\w+)\((?:("(?:[^"\\]|\\.)*")(?:, ([0-9.]+|"(?:[^"\\]|\\.)*"))?|(-?[0-9.]+))?\)`)

// aName is what has a name of its own, as "past the due point".
var aName = regexp.MustCompile(`^[\p{L}\p{N} '-]*$`)

// Told writes what the evidence is of for those who read no rules: "copper, times the
// baseline" for `times("Cu")`. It is empty for an expression, which only a rule would
// say; the words that it asks are evidence of their own. Yes reports that it is a word
// that answers yes (1) or no (0).
func (e *Evidence) Told() (what string, yes bool) {
	m := aCall.FindStringSubmatch(e.Of)
	switch {
	case m == nil && aName.MatchString(e.Of):
		return e.Of, false
	case m == nil || m[0] != e.Of:
		return "", false
	}
	d := Called(m[1])
	if d == nil {
		return "", false
	}
	return d.told(m[2], m[3]+m[4]), d.Truth
}

// told is the word's phrase with its arguments, a quoted name and a number.
func (d *Info) told(quoted, number string) (told string) {
	name, _ := strconv.Unquote(quoted)
	of := name
	component, err := strconv.Unquote(number)
	if elsewhere := err == nil && d.Of == Analyte; elsewhere {
		number = ""
		defer func() { told += " (" + component + ")" }()
	}
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
