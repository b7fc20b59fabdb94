// Package page writes what a person reads: a page is written out as plain text and
// as HTML, so that the two cannot say different things. Every text of it is made
// harmless first, whoever it comes from.
package page

import (
	"cmp"
	_ "embed"
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
	Letter bool   // printed on US letter paper, not on A4
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
	LinkTo  string // says where Link leads, if not to an answer
	Chart   *Picture
}

// Item is one line of work in a list; Box asks for a box to tick, Room for room to
// write down a meter and who did it.
type Item struct {
	Box     bool
	Room    bool
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
	leaveHere  = "Unsubscribe from these"
	roomMeter  = "Meter"
	roomWho    = "Initials"
)

// Note adds notes at the foot, leaving out those that are empty.
func (p *Page) Note(notes ...string) {
	for _, n := range notes {
		if n != "" {
			p.Notes = append(p.Notes, n)
		}
	}
}

// Write writes the page as text and as HTML, every text of it cleaned. If the HTML
// cannot be made, fault says why, and the text stands in for it: a message with plain
// words is better than none.
func (p *Page) Write() (text, html string, fault error) {
	p.clean()
	text = p.text()
	if html, fault = p.html(); fault != nil {
		html = Plain(text)
	}
	return text, html, fault
}

// Plain is a text as a page without a template.
func Plain(text string) string {
	return "<!doctype html><meta charset=\"utf-8\"><pre style=\"white-space:pre-wrap\">" + template.HTMLEscapeString(text) + "</pre>\n"
}

//go:embed page.html
var pageHTML string

// The styles stand on the elements, since many mail programs drop a style sheet. How
// severe a thing is shows by the word and by shape: a bar that is whole, double, dotted or
// thin, a badge that is filled, framed, dotted or bare. A print in black and white says as
// much as a screen.
var (
	bars = [...]template.CSS{
		"padding:0 0 0 18px;border-left:2px solid #bbb", "padding:0 0 0 16px;border-left:4px dotted #555",
		"padding:0 0 0 12px;border-left:8px double #111", "padding:0 0 0 10px;border-left:10px solid #111",
	}
	badges = [...]template.CSS{
		"border:1px solid #888;color:#333;background:#fff", "border:2px dotted #555;color:#111;background:#fff",
		"border:2px solid #111;color:#111;background:#fff", "border:2px solid #111;color:#fff;background:#111",
	}
	pageTemplate = template.Must(template.New("page").Funcs(template.FuncMap{
		"bar":        func(n int) template.CSS { return bars[n] },
		"answer":     func(b Block) string { return b.leadsTo() },
		"answerThis": func() string { return answerThis },
		"meter":      func() string { return roomMeter },
		"initials":   func() string { return roomWho },
		"leave":      func() string { return leaveHere },
		"badge":      func(n int) template.CSS { return badges[n] },
	}).Parse(pageHTML))
)

// html writes the page as one HTML document that loads nothing.
func (p *Page) html() (string, error) {
	var b strings.Builder
	err := pageTemplate.Execute(&b, p)
	return b.String(), err
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

func (b *Block) leadsTo() string { return cmp.Or(b.LinkTo, answerHere) }

func (w *textWriter) block(b *Block) {
	w.gap()
	if b.Badge != "" {
		w.para("["+b.Badge+"] ", "  ", b.Heading)
	} else {
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
		w.para("  ", "    ", b.leadsTo()+": "+b.Link)
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
	said := it.Heading
	if it.What != "" {
		said += " - " + it.What
	}
	w.para(first, indent, said)
	if it.Strong != "" {
		w.para(indent+"> ", indent+"> ", it.Strong)
	}
	w.lines(indent, it.Lines)
	if it.Room {
		w.para(indent, indent, roomMeter+" ____________ "+roomWho+" ______")
	}
	if it.Link != "" {
		w.para(indent, indent+"  ", answerThis+": "+it.Link)
	}
}
