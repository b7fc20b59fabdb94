package page

import (
	"strings"
	"unicode"

	"telltale/rules/english"
)

// Clean makes text from outside fit to be shown: one line, valid UTF-8, no
// control characters, none of the marks that turn the direction of what follows
// or are not seen at all, and no longer than limit runes.
func Clean(s string, limit int) string {
	if len(s) > 8*limit {
		s = s[:8*limit] // no need to look at all of it
	}
	s = strings.ToValidUTF8(s, "\uFFFD")
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.Is(unicode.Cf, r), unicode.IsControl(r):
			return -1
		}
		return r
	}, s)
	s = english.OneLine(s)
	n := 0
	for i := range s {
		if n++; n > limit {
			return s[:i] + "…"
		}
	}
	return s
}
