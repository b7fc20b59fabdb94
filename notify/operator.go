package notify

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"telltale/notify/delivery"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/wording"
)

// Notice tells the operators, by every way they have, of something that is theirs
// to see to. The key keeps it from being made twice.
func (n *Notifier) Notice(ctx context.Context, k string, at time.Time, title, text string) error {
	d := n.Directory()
	for _, id := range d.Operators() {
		p := readerOf(d.Person(id))
		for _, way := range p.Ways() {
			m := p.by(way, key("notice", k, id, way), delivery.NoticeCause+page.Clean(k, 200), at)
			m.Subject = page.Clean(title, 120)
			if way == people.Mail {
				pg := &sheet{page.Page{Title: title}}
				var lines []page.Line
				for l := range strings.Lines(text) {
					lines = append(lines, page.Line{Text: l})
				}
				pg.told(headOperator, lines)
				pg.Note(because("operator"))
				pg.write(&m)
			} else {
				m.tell("notice", map[string]string{"to": id, "title": page.Clean(title, 200), "text": page.Clean(text, page.MaxText)})
			}
			if err := n.create(ctx, n.last, m); err != nil {
				return err
			}
		}
	}
	return nil
}

// ownNotes are what an operator's list says of the service itself.
func (n *Notifier) ownNotes(p reader) (notes []string) {
	if p.Form != people.ForOperator {
		return nil
	}
	for _, l := range n.mark.Left {
		notes = append(notes, leftWords(l, p))
	}
	if n.Queue == nil {
		return notes
	}
	for way, why := range n.Queue.Held() {
		notes = append(notes, troubleWords(delivery.Trouble{Way: way, Why: why}))
	}
	slices.Sort(notes)
	return notes
}

// maxTroubles bounds what one notice lists.
const maxTroubles = 20

// tellTroubles makes one notice of what the queue ran into since the last tick.
func (n *Notifier) tellTroubles(ctx context.Context, now time.Time) error {
	if n.Queue == nil || len(n.Directory().Operators()) == 0 {
		return nil
	}
	all := n.Queue.Troubles()
	if len(all) == 0 {
		return nil
	}
	var text strings.Builder
	for _, t := range all[:min(len(all), maxTroubles)] {
		fmt.Fprintln(&text, troubleWords(t))
	}
	if more := len(all) - maxTroubles; more > 0 {
		fmt.Fprintln(&text, moreOf(more))
	}
	k := "troubles " + all[0].Key + " " + all[0].Way + " " + now.UTC().Format(time.RFC3339)
	return n.Notice(ctx, k, now, troubleTitle(all), text.String())
}

// Certificate is the one under which the service is reached.
type Certificate struct {
	// Of are the names that it is for.
	Of   []string
	Ends time.Time
	// Left is until then, by the clock on the wall: ticks may follow another one.
	Left time.Duration
}

// tellCertificate tells the operators, once for each of the days before its end, that the
// certificate must be renewed.
func (n *Notifier) tellCertificate(ctx context.Context, now time.Time) error {
	if n.Certificate == nil {
		return nil
	}
	c, mark := n.Certificate(), -1
	for _, days := range wording.NearlyOver {
		if c.Left <= time.Duration(days)*24*time.Hour {
			mark = days
		}
	}
	k := fmt.Sprintf("certificate %s %d", c.Ends.UTC().Format(time.RFC3339), mark)
	if mark < 0 || k == n.warned {
		return nil
	}
	title, what, do := wording.Certificate(c.Of, c.Ends.UTC().Format("2 January 2006"), c.Left)
	if err := n.Notice(ctx, k, now, title, what+"\n"+do+"\n"); err != nil {
		return err
	}
	n.warned = k
	return nil
}
