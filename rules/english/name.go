package english

import (
	"strings"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

// Folded is a name as it is compared with what people type: without blanks and hyphens,
// and in one case, by the folding of Unicode. "AB12 CDE" and "ab-12-cde" are one.
func Folded(name string) string {
	drop := func(r rune) rune {
		if unicode.IsSpace(r) || unicode.Is(unicode.Pd, r) || unicode.Is(unicode.Cf, r) || r == '−' {
			return -1
		}
		return r
	}
	return norm.NFKC.String(cases.Fold().String(norm.NFKC.String(strings.Map(drop, name))))
}

// Typed is a name as it is typed in a shell: in quotes where it holds more than letters,
// digits and marks that mean nothing there.
func Typed(name string) string {
	plain := func(r rune) bool {
		return unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_./:,+@%=", r)
	}
	if name != "" && !strings.ContainsFunc(name, func(r rune) bool { return !plain(r) }) {
		return name
	}
	return `"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`, "$", `\$`, "`", "\\`").Replace(name) + `"`
}
