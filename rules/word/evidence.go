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

// held stands for the nth word of an expression while the rest of it is put into words.
func held(n int) string { return string(rune(0xE000 + n)) }

var (
	operatorsTold = strings.NewReplacer(" - ", " less ", " + ", " plus ", " * ", " times ", " / ", " over ")
	rounded       = regexp.MustCompile(`\bround\(([^(),]+)(?:, \d+)?\)`)
	chosen        = regexp.MustCompile(`\b(max|min)\(([^(),]+), ([^(),]+)\)`)
	chosenTold    = map[string]string{"max": "the greater of ", "min": "the lesser of "}
	// inWords is an expression of which nothing is left but words and numbers.
	inWords = regexp.MustCompile(`^(?:the greater of|the lesser of|and|less|plus|times|over|-?[0-9.]+|[\x{E000}-\x{F8FF}]|[ ,])*$`)
	// aName is what has a name of its own, as "past the due point".
	aName = regexp.MustCompile(`^[\p{L}\p{N} '-]*$`)
)

// named are operands that are no calls.
var named = map[string]string{"component.capacity": "what the component holds"}

// Told writes what the evidence is of for those who read no rules: "copper, times the
// baseline" for `times("Cu")`, and the words and operators of an expression likewise. It
// is empty where that leaves something that only a rule would say. Yes reports that it is
// a single word that answers yes (1) or no (0).
func (e *Evidence) Told() (what string, yes bool) {
	calls := aCall.FindAllStringSubmatchIndex(e.Of, -1)
	if len(calls) == 0 && aName.MatchString(e.Of) {
		return e.Of, false
	}
	var b strings.Builder
	var words []string
	end := 0
	for _, at := range calls {
		part := func(n int) string { return e.Of[max(at[2*n], 0):max(at[2*n+1], 0)] }
		d := Called(part(1))
		if d == nil {
			continue
		}
		b.WriteString(e.Of[end:at[0]] + held(len(words)))
		words = append(words, held(len(words)), d.told(part(2), part(3)+part(4)))
		end, yes = at[1], d.Truth && part(0) == e.Of
	}
	rest := operatorsTold.Replace(saidOf(b.String() + e.Of[end:]))
	if !inWords.MatchString(rest) {
		return named[e.Of], false
	}
	return strings.NewReplacer(words...).Replace(rest), yes
}

// saidOf puts the functions of an expression into words, the innermost first.
func saidOf(s string) string {
	for was := ""; s != was; {
		was = s
		s = rounded.ReplaceAllString(s, "$1")
		s = chosen.ReplaceAllStringFunc(s, func(call string) string {
			m := chosen.FindStringSubmatch(call)
			return chosenTold[m[1]] + m[2] + " and " + m[3]
		})
	}
	return s
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
