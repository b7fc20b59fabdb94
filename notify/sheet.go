package notify

import (
	"slices"
	"sort"

	"telltale/engine/alarm"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules/english"
)

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
	p.Blocks = append(p.Blocks, page.Block{Heading: heading, Weight: weight, Items: items})
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

// end puts under a letter or a summary what to mind, the notes and where to ask for
// no more, and writes it into the message.
func (p *sheet) end(m *Message, c Cause, mind *wording.Minds, all []news) {
	m.cautions = mind.Full
	p.told(wording.HeadMind, mind.All())
	p.Note(asWritten(mind, all), mind.Reader.Ours(wording.StandingNote), whyYou(all))
	if c.Leave != nil && !slices.ContainsFunc(all, news.cannotWait) {
		m.Leave = c.Leave(mind.Reader.ID, Messages, m.Time)
		p.Leave = m.Leave
	}
	p.write(m)
}

// StageWords names a stage as messages do, and whether a person knows of it.
func StageWords(s alarm.Stage, standing alarm.Standing) string {
	if standing == alarm.Unacknowledged {
		return stages.Of(s).Head + ", not acknowledged yet"
	}
	return stages.Of(s).Head + ", " + string(standing)
}

// Standing says an alarm that stands in the words of a message: what it is, what
// to do first, what was found, and the figures, with the likely sources and what
// to mind; in the person's units.
func Standing(who *people.Person, vehicle string, s *alarm.Listed) (title, strong, found string, figures []string) {
	const long = 500
	p := readerOf(who).on(s.Reads)
	said := p.Spelled(p.Said(&s.Transition), vehicle)
	if found = p.DatesIn(said.Message); s.Task {
		found = p.DueNow(said)
	}
	found = page.Clean(found, long)
	title = page.Clean(wording.HeadOf(vehicle, said), 200)
	strong = page.Clean(english.Sentences(wording.DoFirst(s.Task, s.Statutory, s.To, said.Advise)), long)
	for _, f := range p.Figures(said.Evidence, s.Task) {
		figures = append(figures, page.Clean(f, long))
	}
	if source := english.List("or", said.PointsTo); source != "" {
		figures = append(figures, page.Clean(labelSource+": "+source, long))
	}
	for _, c := range p.CautionsOf(s.Cautions, s.OwnCautions) {
		figures = append(figures, page.Clean(c, long))
	}
	return title, strong, found, figures
}

// maxList bounds the HTML of a list, in bytes. Web mailers cut what is longer, common
// practice is some 100 kB, no source.
const maxList = 90_000

// fit cuts the page until its HTML is no longer than the limit: items from the end, of
// which a line says how many there are. The worst stands first, so it stays.
func (p *sheet) fit(limit int) {
	all := p.items()
	if p.first(all).size() <= limit {
		return
	}
	// The least number of items left out with which it fits.
	out := sort.Search(all, func(out int) bool { return p.first(all-out).size() <= limit })
	*p = *p.first(all - out)
}

func (p *sheet) items() (n int) {
	for i := range p.Blocks {
		n += len(p.Blocks[i].Items)
	}
	return n
}

// first is the page with the first items alone, and how many more there are.
func (p *sheet) first(items int) *sheet {
	cut := *p
	cut.Blocks = nil
	more, place := 0, 0
	for _, b := range p.Blocks {
		n := len(b.Items)
		b.Items = b.Items[:min(n, items)]
		items -= len(b.Items)
		more += n - len(b.Items)
		if n == 0 || len(b.Items) > 0 {
			cut.Blocks = append(cut.Blocks, b)
		}
		if n > 0 {
			place = len(cut.Blocks)
		}
	}
	if more > 0 {
		rest := page.Block{Heading: restOf(more)}
		cut.Blocks = append(cut.Blocks[:place:place], append([]page.Block{rest}, cut.Blocks[place:]...)...)
	}
	return &cut
}

// size is how long the page's HTML is, in bytes.
func (p *sheet) size() int {
	copied := *p
	_, html, _ := copied.Write()
	return len(html)
}
