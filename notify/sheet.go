package notify

import (
	"slices"

	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
)

// reader is a person as words are written for them: in their units, their order of
// dates and their zone.
type reader struct{ *people.Person }

// sheet is a page with what messages have alike.
type sheet struct{ page.Page }

// write puts the page into the message as text and HTML.
func (p *sheet) write(m *Message) {
	var fault error
	if m.Text, m.HTML, fault = p.Write(); fault != nil {
		m.Fault = fault.Error()
	}
}

func (p *sheet) group(heading string, weight int, items []page.Item) {
	if len(items) == 0 {
		return
	}
	b := page.Block{Heading: heading, Weight: weight, Items: items}
	if more := len(items) - maxItems; more > 0 {
		b.Items = append(slices.Clip(items[:maxItems]), page.Item{Heading: moreOf(more)})
	}
	p.Blocks = append(p.Blocks, b)
}

func (p *sheet) ready(lines []page.Line) {
	if len(lines) > 0 {
		p.Blocks = append(p.Blocks, page.Block{Heading: headReady, Lines: lines})
	}
}

// minds are what to mind, each caution once, in order of first mention.
type minds struct {
	seen  []string
	lines []page.Line
}

// add takes cautions, with the words of those that their book explains itself.
func (m *minds) add(names []string, own map[string]string) {
	for _, c := range names {
		if c != "" && !slices.Contains(m.seen, c) {
			m.seen = append(m.seen, c)
			m.lines = append(m.lines, page.Line{Text: english.Sentence(cautionSentence(c, own))})
		}
	}
}

func (p *sheet) mind(m minds) {
	if len(m.lines) > 0 {
		p.Blocks = append(p.Blocks, page.Block{Heading: headMind, Lines: m.lines})
	}
}
