package notify

import (
	"slices"

	"telltale/engine/alarm"
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

// more says how many are not shown, where there are any.
func (p *sheet) more(n int) {
	if n > 0 {
		p.Blocks = append(p.Blocks, page.Block{Heading: moreOf(n)})
	}
}

// told puts lines under a heading, where there are any.
func (p *sheet) told(heading string, lines []page.Line) {
	if len(lines) > 0 {
		p.Blocks = append(p.Blocks, page.Block{Heading: heading, Lines: lines})
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
			m.lines = append(m.lines, page.Line{Text: cautionsOf([]string{c}, own)[0]})
		}
	}
}

// end puts under a letter or a summary what to mind, the notes and where to ask for
// no more, and writes it into the message.
func (p *sheet) end(m *Message, c Cause, who reader, mind minds, all []news) {
	p.told(headMind, mind.lines)
	p.Note(who.asWritten(p), standingNote, whyYou(who, describe(all)))
	if c.Leave != nil && !slices.ContainsFunc(all, news.cannotWait) {
		m.Leave = c.Leave(who.ID, Messages, m.Time)
		p.Leave = m.Leave
	}
	p.write(m)
}

// Standing says an alarm that stands in the words of a message: what it is, what
// to do first, what was found, and the figures, with the likely sources and what
// to mind; in the person's units.
func Standing(who *people.Person, vehicle string, s *alarm.Listed) (title, strong, found string, figures []string) {
	const long = 500
	p := reader{who}
	if found = p.dates(s.Message); s.Task {
		found = p.dueNow(&s.Transition)
	}
	found = page.Clean(found, long)
	title = page.Clean(headOf(vehicle, &s.Transition), 200)
	strong = page.Clean(english.Sentences(doFirst(s.Task, s.Statutory, s.To, s.Advise)), long)
	for _, f := range p.figures(s.Evidence) {
		figures = append(figures, page.Clean(f, long))
	}
	if source := english.List("or", s.PointsTo); source != "" {
		figures = append(figures, page.Clean(labelSource+": "+source, long))
	}
	for _, c := range cautionsOf(s.Cautions, s.OwnCautions) {
		figures = append(figures, page.Clean(c, long))
	}
	return title, strong, found, figures
}
