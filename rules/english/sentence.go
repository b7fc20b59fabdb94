package english

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// List joins parts with commas and the word last before the last one: "a, b or c".
func List(last string, parts []string) string {
	n := len(parts) - 1
	if n < 1 {
		return strings.Join(parts, "")
	}
	return strings.Join(parts[:n], ", ") + " " + last + " " + parts[n]
}

// OneLine puts a single space for each run of spaces and line ends, and none at either end.
func OneLine(s string) string { return strings.Join(strings.Fields(s), " ") }

// Printable takes away what could drive a terminal or turn its text around.
func Printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) {
			return -1
		}
		return r
	}, s)
}

// Capital gives s an upper-case first letter. What is no UTF-8 stays as it is.
func Capital(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if r == utf8.RuneError {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// Ended is s with a full stop, where there is anything to end and no mark ends it yet.
func Ended(s string) string {
	s = strings.TrimSpace(s)
	if s == "" || strings.ContainsAny(s[len(s)-1:], ".?:") {
		return s
	}
	return s + "."
}

// Sentence begins with a capital and ends with a full stop.
func Sentence(s string) string { return Capital(Ended(s)) }

// Sentences makes a sentence of each part that says anything, in a row.
func Sentences(parts ...string) string {
	var all []string
	for _, p := range parts {
		if p = Sentence(p); p != "" {
			all = append(all, p)
		}
	}
	return strings.Join(all, " ")
}

// Lines collects indented lines of text. The zero value is empty and ready to use.
type Lines struct{ text strings.Builder }

// Line adds a line, two blanks further in for each indent.
func (l *Lines) Line(indent int, format string, args ...any) {
	if l.text.Len() > 0 {
		l.text.WriteByte('\n')
	}
	l.text.WriteString(strings.Repeat("  ", indent) + fmt.Sprintf(format, args...))
}

// String is the lines, the last without a line end.
func (l *Lines) String() string { return l.text.String() }

// longTitle is from how many letters on a title is made shorter.
const longTitle = 40

// Brief is a long title up to its first comma or semicolon after more than a word:
// "Check lights, wipers, washers, horn, mirrors and seat belts" is "Check lights". A word
// alone would name other work: "Sample, then drain and refill the transmission, with a
// new filter" is no sample.
func Brief(title string) string {
	if utf8.RuneCountInString(title) <= longTitle {
		return title
	}
	for i, r := range title {
		if (r == ',' || r == ';') && strings.Contains(title[:i], " ") {
			return title[:i]
		}
	}
	return title
}
