// Package page writes what a person reads: a page is written out as plain text and
// as HTML, so that the two cannot say different things. Every text of it is made
// harmless first, whoever it comes from.
package page

import (
	"html/template"
	"strings"
)

// Page is a message before it is written out.
type Page struct {
	Title  string
	Lead   string
	Blocks []Block
	Notes  []string
	Leave  string // where to ask for no more; "" for nowhere
}

// Block is one alarm of a mail, or one group of a list.
type Block struct {
	Badge   string // the stage in a word; "" for none
	Weight  int    // how much it stands out: 0 not at all … 3 most
	Heading string
	Strong  string // what to do, before all else
	Lines   []Line
	Items   []Item
	Link    string // where to answer; "" for none
	Chart   *Picture
}

// Item is one line of work in a list; Box asks for a box to tick.
type Item struct {
	Box     bool
	Heading string
	What    string
	Strong  string
	Lines   []Line
	Link    string // where to answer; "" for none
}

// Line is a text under a label; "" for none.
type Line struct{ Label, Text string }

// Picture is drawn, and says in lines what it shows.
type Picture struct {
	ID    string // by which the HTML names it; unlike that of any other
	PNG   []byte
	Lines []Line
}

// Src is the address of the picture within a mail (RFC 2392).
func (p *Picture) Src() template.URL { return template.URL("cid:" + p.ID) }

// Alt stands for the picture where it is not shown; the lines beneath say the same.
func (p *Picture) Alt() string { return "A chart of the sample; the lines beneath say what it shows." }

// MaxText bounds one text of a page, in runes.
const MaxText = 2000

const (
	maxWidth = 72

	answerHere = "Acknowledge it, put it aside, or enter what was done"
	answerThis = "Answer"
	leaveHere  = "Get no more of these"
)

// clean passes every text of the page through Clean.
func (p *Page) clean() {
	fix := func(s *string) { *s = Clean(*s, MaxText) }
	fix(&p.Title)
	fix(&p.Lead)
	for i := range p.Blocks {
		b := &p.Blocks[i]
		fix(&b.Badge)
		fix(&b.Heading)
		fix(&b.Strong)
		cleanLines(b.Lines)
		if b.Chart != nil {
			cleanLines(b.Chart.Lines)
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
}

func cleanLines(lines []Line) {
	for i := range lines {
		lines[i] = Line{Clean(lines[i].Label, MaxText), Clean(lines[i].Text, MaxText)}
	}
}

// Note adds notes at the foot, leaving out those that are empty.
func (p *Page) Note(notes ...string) {
	for _, n := range notes {
		if n != "" {
			p.Notes = append(p.Notes, n)
		}
	}
}

// text writes the page as plain text, 72 columns wide.
func (p *Page) text() string {
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

func (w *textWriter) lines(indent string, lines []Line) {
	for _, l := range lines {
		s := l.Text
		if l.Label != "" {
			s = l.Label + ": " + s
		}
		w.para(indent, indent+"  ", s)
	}
}

func (w *textWriter) block(b *Block) {
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
		w.lines("  ", b.Chart.Lines)
	}
	if b.Link != "" {
		w.para("  ", "    ", answerHere+": "+b.Link)
	}
	for i := range b.Items {
		w.item(&b.Items[i])
	}
}

func (w *textWriter) item(it *Item) {
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
