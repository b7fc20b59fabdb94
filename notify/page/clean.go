package page

import (
	"slices"
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

// clean passes every text of the page through Clean.
func (p *Page) clean() {
	fix(&p.Title, &p.Lead)
	for i := range p.Blocks {
		b := &p.Blocks[i]
		fix(&b.Badge, &b.Heading, &b.Strong)
		fixLines(b.Lines)
		if b.Chart != nil {
			fixLines(b.Chart.Lines)
		}
		for j := range b.Items {
			b.Items[j] = b.Items[j].Cleaned()
		}
	}
	for i := range p.Notes {
		fix(&p.Notes[i])
	}
}

func fix(texts ...*string) {
	for _, s := range texts {
		*s = Clean(*s, MaxText)
	}
}

func fixLines(lines []Line) {
	for i := range lines {
		fix(&lines[i].Label, &lines[i].Text)
	}
}

// Cleaned is the item with every text of it cleaned.
func (it Item) Cleaned() Item {
	it.Lines = slices.Clone(it.Lines)
	fix(&it.Heading, &it.What, &it.Strong)
	fixLines(it.Lines)
	return it
}
