package language

import (
	"net/url"
	"path/filepath"
	"strings"
	"unicode/utf16"
	"unicode/utf8"

	"telltale/rules/source"
)

// document is a file as the editor has it.
type document struct {
	uri     string
	version int
	text    string
}

// line is a line of the text, from 0; "" where there is none.
func line(text string, n int) string {
	lines := strings.Split(text, "\n")
	if n < 0 || n >= len(lines) {
		return ""
	}
	return strings.TrimSuffix(lines[n], "\r")
}

// units is how many units of UTF-16 the first n characters of a line take.
func units(s string, n int) int {
	count := 0
	for _, r := range s {
		if n--; n < 0 {
			break
		}
		count += max(1, utf16.RuneLen(r))
	}
	return count
}

// before is the part of a line that takes so many units of UTF-16.
func before(s string, n int) string {
	for i, r := range s {
		if n <= 0 {
			return s[:i]
		}
		n -= max(1, utf16.RuneLen(r))
	}
	return s
}

// spanOf is what a place in a text covers, which is so many characters wide.
func spanOf(text string, p source.Place, width int) span {
	l := line(text, p.Line-1)
	from := min(p.Col-1, utf8.RuneCountInString(l))
	return span{
		position{p.Line - 1, units(l, from)},
		position{p.Line - 1, units(l, from+width)},
	}
}

// touches reports whether two spans have a place in common; an end counts.
func (s span) touches(o span) bool {
	return !s.End.less(o.Start) && !o.End.less(s.Start)
}

func (p position) less(o position) bool {
	return p.Line < o.Line || p.Line == o.Line && p.Character < o.Character
}

// pathOf is the file that a URI names; "" where it names none.
func pathOf(uri string) string {
	u, err := url.Parse(uri)
	if err != nil || u.Scheme != "file" {
		return ""
	}
	return filepath.Clean(filepath.FromSlash(u.Path))
}

// uriOf is the URI of a file.
func uriOf(path string) string {
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path)}).String()
}
