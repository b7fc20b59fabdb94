// Package slip finds what people bring along into a condition from other languages and from
// phones. It is told in one's own words, and read as what was meant to find what else is
// wrong.
package slip

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// token is a piece of an expression, in runes.
type token struct {
	from, to int
	text     string
}

// pieces are the tokens as far as slips need them: texts in quotes of any kind, numbers,
// words, signs.
var pieces = regexp.MustCompile("`[^`]*`|\"(?:[^\"\\\\]|\\\\.)*\"?|'(?:[^'\\\\]|\\\\.)*'?|“[^”]*”?|„[^“”]*[“”]?|‘[^’]*’?|[0-9][0-9_]*(?:[.,][0-9]+)?(?:[eE][+-]?[0-9]+)?|[\\p{L}_][\\p{L}\\p{N}_]*|=>|=<|<>|[=!<>]=|&&|\\|\\||\\?\\?|[^\\s]")

func tokens(text string) (out []token) {
	for _, at := range pieces.FindAllStringIndex(text, -1) {
		from := utf8.RuneCountInString(text[:at[0]])
		t := text[at[0]:at[1]]
		out = append(out, token{from, from + utf8.RuneCountInString(t), t})
	}
	return out
}

// Slip is one thing brought along: the runes [From, To) are to be With.
type Slip struct {
	From, To   int
	With       string
	Text, Hint string
	Unsure     bool // it is read as With, but an editor cannot offer that
	Guess      bool // nobody knows where it belongs: what else is found may only follow from it
}

// signs are signs and words of other languages and of typesetting, and what they are here.
var signs = map[string]string{"≥": ">=", "≤": "<=", "≠": "!=", "×": "*", "·": "*", "÷": "/", "−": "-", "–": "-", "∧": "&&", "∨": "||", "¬": "!",
	"AND": "&&", "And": "&&", "OR": "||", "Or": "||", "NOT": "!", "Not": "!", "TRUE": "true", "True": "true", "FALSE": "false", "False": "false",
	"=": "==", "&": "&&", "=>": ">=", "=<": "<=", "<>": "!=", "IN": "in"}

// In finds the first slip of an expression that cannot be parsed; a bare number in it counts
// in the units u.
func In(text string, u unit.System) (Slip, bool) {
	all := tokens(text)
	for i, t := range all {
		if s, ok := t.quoted(); ok {
			return s, true
		}
		if with, ok := signs[t.text]; ok && !declares(all, i) {
			return Slip{t.from, t.to, with, fmt.Sprintf("unexpected `%s`", t.text), "write `" + with + "`", false, false}, true
		}
		if s, ok := measured(all[i:], u); ok {
			return s, true
		}
		if s, ok := unquoted(text, all, i); ok {
			return s, true
		}
	}
	return unbalanced(text, all)
}

// declares reports whether the = at i follows `let name`.
func declares(all []token, i int) bool { return all[i].text == "=" && i > 1 && all[i-2].text == "let" }

// quoted finds curly quotes, and a quote that is not closed.
func (t token) quoted() (Slip, bool) {
	runes := []rune(t.text)
	first, last := runes[0], runes[len(runes)-1]
	switch {
	case strings.ContainsRune("“„‘", first):
		inner := strings.Trim(t.text, "“”„‘’")
		with := strconv.Quote(inner)
		return Slip{t.from, t.to, with, fmt.Sprintf("curly quotes (%U), which are only letters here", first), "write " + with, false, false}, true
	case strings.ContainsRune("”’", first):
		return Slip{t.from, t.to, `"`, fmt.Sprintf("a curly quote (%U), which is only a letter here", first), "write `\"`", false, false}, true
	case (first == '"' || first == '\'') && (len(runes) == 1 || last != first):
		return Slip{t.from, t.to, t.text + string(first), "a quote is not closed", fmt.Sprintf("write `%c` where the text ends", first), false, false}, true
	}
	return Slip{}, false
}

var number = regexp.MustCompile(`^[0-9]`)

// measured finds a number that is too large, has a comma, a unit or a percent sign.
func measured(rest []token, u unit.System) (Slip, bool) {
	t := rest[0]
	if !number.MatchString(t.text) {
		return Slip{}, false
	}
	if v, wrong, cure := source.PlainNumber(t.text); wrong != "" {
		s := Slip{From: t.from, To: t.to, With: strings.TrimPrefix(cure, "write "), Text: fmt.Sprintf("%q %s", t.text, wrong), Hint: cure}
		if _, w, _ := source.PlainNumber(s.With); w != "" {
			s.With, s.Unsure = "1", true
		}
		return s, true
	} else if len(rest) > 1 && rest[1].text == "%" && (len(rest) == 2 || !beginsOperand(rest[2].text)) {
		return Slip{From: t.from, To: rest[1].to, With: t.text, Text: fmt.Sprintf("%s%% is no number", t.text), Unsure: true,
			Hint: fmt.Sprintf("write %s as a share of something, or %s beside a result in %%", english.Number(v/100), t.text)}, true
	}
	name := ""
	for _, next := range rest[1:min(len(rest), 4)] { // mg/kg is three tokens
		name += next.text
		if named, ok := unitNamed(name); ok && !longer(rest, name) {
			s := Slip{From: t.from, To: next.to, With: t.text, Text: fmt.Sprintf("a number with a unit, %s %s", t.text, named),
				Hint: "write " + t.text + " alone: it is taken in the unit of what it is compared with"}
			if own := inOwn(named, u); own != named {
				s.Hint, s.Unsure = "write it in "+own+", without the unit", true
			}
			return s, true
		}
	}
	return Slip{}, false
}

// inOwn is the unit in which a bare number is taken where one in another of its kind stands.
func inOwn(name string, u unit.System) string {
	switch kind, _ := unit.Of(name); {
	case kind == unit.Distance:
		return u.Distance
	case kind == unit.Volume:
		return u.Volume
	case kind == unit.Time:
		return "h"
	case kind == unit.Temperature:
		return "degC"
	}
	return name
}

// unitNamed reports whether a text is a unit, by its name or as it is spoken.
func unitNamed(name string) (string, bool) {
	if _, ok := unit.Of(name); ok && number.FindString(name) == "" && name != "%" {
		return name, true
	}
	u := unit.Spoken(name)
	return u, u != ""
}

// longer reports whether the tokens after a number name a longer unit that begins so.
func longer(rest []token, name string) bool {
	all := ""
	for _, next := range rest[1:min(len(rest), 4)] {
		if all += next.text; len(all) > len(name) {
			if _, ok := unitNamed(all); ok {
				return true
			}
		}
	}
	return false
}

// beginsOperand reports whether a token can begin an operand.
func beginsOperand(t string) bool {
	return t != "" && (number.MatchString(t) || wordLike.MatchString(t) && t != "and" && t != "or" || strings.ContainsAny(t[:1], `("'`))
}

var wordLike = regexp.MustCompile(`^[\p{L}_][\p{L}\p{N}_]*$`)

// unquoted finds words that follow one another where one text is meant: `== diesel engine`.
func unquoted(text string, all []token, i int) (Slip, bool) {
	end := i
	for end < len(all) && wordLike.MatchString(all[end].text) && !slices.Contains(operators, all[end].text) {
		end++
	}
	if end-i < 2 || i == 0 || !slices.Contains([]string{"==", "!=", "in", "[", ",", "("}, all[i-1].text) || end < len(all) && strings.ContainsAny(all[end].text, "(.[") {
		return Slip{}, false
	}
	from, to := all[i].from, all[end-1].to
	with := strconv.Quote(string([]rune(text)[from:to]))
	return Slip{from, to, with, "text without quotes", "write " + with, false, false}, true
}

// operators are those that are words.
var operators = []string{"and", "or", "not", "in", "contains", "matches", "startsWith", "endsWith", "let"}

// unbalanced finds a bracket that is not closed, or closed twice.
func unbalanced(text string, all []token) (Slip, bool) {
	ends := map[string]string{"(": ")", "[": "]", "{": "}"}
	var open []token
	for _, t := range all {
		switch {
		case ends[t.text] != "":
			open = append(open, t)
		case !slices.Contains([]string{")", "]", "}"}, t.text):
		case len(open) == 0:
			return Slip{t.from, t.to, "", fmt.Sprintf("there is a `%s` too many", t.text), "delete it, or open it before", false, true}, true
		default:
			open = open[:len(open)-1]
		}
	}
	if len(open) == 0 {
		return Slip{}, false
	}
	t := open[len(open)-1]
	end := utf8.RuneCountInString(strings.TrimRight(text, " \t\r\n"))
	return Slip{t.from, end, string([]rune(text)[t.from:end]) + ends[t.text], fmt.Sprintf("a `%s` is not closed", t.text), fmt.Sprintf("write `%s` where it ends", ends[t.text]), false, true}, true
}
