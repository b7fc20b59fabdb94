package source

import (
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// At gives line and column of the rune with number offset in the scalar's
// value, whatever its YAML style: the k-th non-blank rune of the value is the
// k-th non-blank rune of the raw text, undoing quotes and escapes. An offset
// at or past the end gives the place just after the last rune.
func (d *Document) At(n *yaml.Node, offset int) (line, col int) {
	k, i := 0, 0
	for _, r := range n.Value {
		if i >= offset && !blank(r) {
			break
		}
		if !blank(r) {
			k++
		}
		i++
	}
	s := scanner{d: d, line: n.Line, col: n.Column, style: n.Style}
	s.begin()
	for ; k > 0; k-- {
		if !s.next() {
			break
		}
		s.skip()
	}
	if i < offset || i == utf8.RuneCountInString(n.Value) {
		return s.line, s.col // the end
	}
	s.next()
	return s.line, s.col
}

func blank(r rune) bool { return r == ' ' || r == '\t' || r == '\n' || r == '\r' }

// scanner walks the non-blank runes of a scalar's raw text; line and col are from 1.
type scanner struct {
	d         *Document
	line, col int
	style     yaml.Style
	runes     []rune // of line
}

func (s *scanner) begin() {
	switch {
	case s.style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0:
		s.line, s.col = s.line+1, 1
	case s.style&(yaml.SingleQuotedStyle|yaml.DoubleQuotedStyle) != 0:
		s.col++
	}
}

// next moves to the first non-blank rune at or after the place; false at the end of the file.
func (s *scanner) next() bool {
	for s.line <= len(s.d.lines) {
		s.runes = s.d.line(s.line)
		for s.col <= len(s.runes) {
			r := s.runes[s.col-1]
			if !blank(r) && !(s.style&yaml.DoubleQuotedStyle != 0 && r == '\\' && s.blankEscape()) {
				return true
			}
			if r == '\\' {
				s.col++
			}
			s.col++
		}
		s.line, s.col = s.line+1, 1
	}
	return false
}

// blankEscape reports whether the escape at the place stands for a blank, or for
// nothing (an escaped end of line).
func (s *scanner) blankEscape() bool {
	if s.col >= len(s.runes) {
		return true
	}
	switch s.runes[s.col] {
	case 'n', 't', 'r', ' ', '\t':
		return true
	}
	return false
}

// skip moves past the non-blank rune at the place, as long as it is written.
func (s *scanner) skip() {
	r, after := s.runes[s.col-1], rune(utf8.RuneError)
	if s.col < len(s.runes) {
		after = s.runes[s.col]
	}
	switch {
	case s.style&yaml.SingleQuotedStyle != 0 && r == '\'' && after == '\'':
		s.col += 2
	case s.style&yaml.DoubleQuotedStyle != 0 && r == '\\':
		s.col += 2 + map[rune]int{'x': 2, 'u': 4, 'U': 8}[after]
	default:
		s.col++
	}
}
