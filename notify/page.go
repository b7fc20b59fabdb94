package notify

import (
	"strings"
	"unicode"

	"telltale/rules/english"
)

// page is a message before it is written out: text and HTML are two writings of
// the same page, so they cannot say different things.
type page struct {
	Title  string
	Lead   string
	Blocks []block
	Notes  []string
	Leave  string // where to ask for no more; "" for nowhere
}

// block is one alarm of a mail, or one group of a list.
type block struct {
	Badge   string // the stage in a word; "" for none
	Weight  int    // how much it stands out: 0 not at all … 3 most
	Heading string
	Strong  string // what to do, before all else
	Lines   []line
	Items   []item
	Link    string // where to answer; "" for none
	Chart   *picture
}

// item is one line of work in a list; Box asks for a box to tick.
type item struct {
	Box     bool
	Heading string
	What    string
	Strong  string
	Lines   []line
	Link    string // where to answer; "" for none
}

type line struct{ Label, Text string }

const (
	maxText  = 2000 // runes of one text from outside
	maxWidth = 72
)

// clean makes text from outside fit to be shown: one line, valid UTF-8, no
// control characters, none of the marks that turn the direction of what follows
// or are not seen at all, and no longer than limit runes.
func clean(s string, limit int) string {
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

// cleaned passes every text of the page through clean.
func (p *page) cleaned() *page {
	fix := func(s *string) { *s = clean(*s, maxText) }
	fix(&p.Title)
	fix(&p.Lead)
	for i := range p.Blocks {
		b := &p.Blocks[i]
		fix(&b.Badge)
		fix(&b.Heading)
		fix(&b.Strong)
		cleanLines(b.Lines)
		if b.Chart != nil {
			cleanLines(b.Chart.lines)
		}
		for j := range b.Items {
			it := &b.Items[j]
			fix(&it.Heading)
			fix(&it.What)
			fix(&it.Strong)
			cleanLines(it.Lines)
		}
	}
	for i := range p.Notes {
		fix(&p.Notes[i])
	}
	return p
}

func cleanLines(lines []line) {
	for i := range lines {
		lines[i] = line{clean(lines[i].Label, maxText), clean(lines[i].Text, maxText)}
	}
}

// note adds a note at the foot, where there is any.
func (p *page) note(notes ...string) {
	for _, n := range notes {
		if n != "" {
			p.Notes = append(p.Notes, n)
		}
	}
}

// text writes the page as plain text, 72 columns wide.
func (p *page) text() string {
	w := &textWriter{}
	w.para("", "  ", p.Title)
	w.rule("=", p.Title)
	if p.Lead != "" {
		w.para("", "", p.Lead)
	}
	for i := range p.Blocks {
		w.block(&p.Blocks[i])
	}
	w.gap()
	w.b.WriteString("--------\n")
	for _, n := range p.Notes {
		w.para("", "", n)
	}
	if p.Leave != "" {
		w.para("", "  ", leaveHere+": "+p.Leave)
	}
	return w.b.String()
}

type textWriter struct{ b strings.Builder }

func (w *textWriter) gap() { w.b.WriteByte('\n') }

func (w *textWriter) rule(mark, under string) {
	w.b.WriteString(strings.Repeat(mark, min(maxWidth, len([]rune(under)))) + "\n")
}

// para writes words wrapped; first begins the first line, rest the others. Where
// the words are not ours rest is not empty, so that only we begin a line.
func (w *textWriter) para(first, rest, words string) {
	col := len([]rune(first))
	w.b.WriteString(first)
	for i, word := range strings.Fields(words) {
		n := len([]rune(word))
		switch {
		case i == 0:
		case col+1+n > maxWidth:
			w.b.WriteString("\n" + rest)
			col = len(rest)
		default:
			w.b.WriteByte(' ')
			col++
		}
		w.b.WriteString(word)
		col += n
	}
	w.b.WriteByte('\n')
}

func (w *textWriter) lines(indent string, lines []line) {
	for _, l := range lines {
		s := l.Text
		if l.Label != "" {
			s = l.Label + ": " + s
		}
		w.para(indent, indent+"  ", s)
	}
}

func (w *textWriter) block(b *block) {
	w.gap()
	switch {
	case b.Badge != "":
		w.para("["+b.Badge+"] ", "  ", b.Heading)
	default:
		w.para("", "  ", b.Heading)
		w.rule("-", b.Heading)
	}
	if b.Strong != "" {
		w.para("> ", "> ", b.Strong)
	}
	w.lines("  ", b.Lines)
	if b.Chart != nil {
		w.lines("  ", b.Chart.lines)
	}
	if b.Link != "" {
		w.para("  ", "    ", answerHere+": "+b.Link)
	}
	for i := range b.Items {
		w.item(&b.Items[i])
	}
}

func (w *textWriter) item(it *item) {
	first := "- "
	if it.Box {
		first = "[ ] "
	}
	indent := strings.Repeat(" ", len(first))
	if it.What != "" {
		w.para(first, indent, it.Heading+" - "+it.What)
	} else {
		w.para(first, indent, it.Heading)
	}
	if it.Strong != "" {
		w.para(indent+"> ", indent+"> ", it.Strong)
	}
	w.lines(indent, it.Lines)
	if it.Link != "" {
		w.para(indent, indent+"  ", answerThis+": "+it.Link)
	}
}
