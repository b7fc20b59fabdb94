package notify

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
)

// noticeCause begins the causes of notices to the operators.
const noticeCause = "notice "

// operators reads who hears of the service's own troubles.
func (r *reader) operators(n *yaml.Node, people map[string]*Person) []string {
	e := &entry{}
	r.who(e, n, people)
	if e.own {
		r.Fault(n, "name people", "operator cannot be the people of a vehicle")
	}
	slices.Sort(e.who)
	return slices.Compact(e.who)
}

// Operators are those who hear of the service's own troubles, by id.
func (d *Directory) Operators() []string { return d.operators }

// Notice tells the operators, by every way they have, of something that is theirs
// to see to. The key keeps it from being made twice.
func (n *Notifier) Notice(ctx context.Context, k string, at time.Time, title, text string) error {
	d := n.Directory()
	for _, id := range d.operators {
		p := d.Person(id)
		for _, way := range p.ways() {
			m := Message{Key: key("notice", k, id, way), Cause: noticeCause + clean(k, 200), Person: id, Name: p.Name, Way: way, To: p.to(way),
				Subject: clean(title, 120), Time: at}
			if way == "mail" {
				pg := &page{Title: title, Blocks: []block{{Heading: headOperator, Lines: linesOf(text)}}}
				pg.note(whyOperator(p))
				pg.write(&m)
			} else {
				m.tell("notice", map[string]string{"to": id, "title": clean(title, 200), "text": clean(text, maxText)})
			}
			if err := n.create(ctx, n.last, m); err != nil {
				return err
			}
		}
	}
	return nil
}

func linesOf(text string) (out []line) {
	for l := range strings.Lines(text) {
		out = append(out, line{Text: l})
	}
	return out
}

// ownNotes are what an operator's list says of the service itself.
func (n *Notifier) ownNotes(p *Person) (notes []string) {
	if p.form != forOperator {
		return nil
	}
	for _, l := range n.mark.Left {
		notes = append(notes, leftWords(l, p))
	}
	if n.Queue == nil {
		return notes
	}
	for way, why := range n.Queue.Held() {
		notes = append(notes, troubleWords(trouble{way: way, why: why}))
	}
	slices.Sort(notes)
	return notes
}

// trouble is what went wrong in sending.
type trouble struct {
	way, to, person string
	key             string // of the delivery; "" where all that goes this way is held
	why             string
	late            bool // it is still tried
}

// maxTroubles bounds what one notice lists.
const maxTroubles = 20

// tellTroubles makes one notice of what the queue ran into since the last tick.
func (n *Notifier) tellTroubles(ctx context.Context, now time.Time) (made int, err error) {
	if n.Queue == nil || len(n.Directory().operators) == 0 {
		return 0, nil
	}
	all := n.Queue.troubles()
	if len(all) == 0 {
		return 0, nil
	}
	var text strings.Builder
	for i, t := range all {
		if i == maxTroubles {
			fmt.Fprintln(&text, moreOf(len(all)-i))
			break
		}
		fmt.Fprintln(&text, troubleWords(t))
	}
	k := "troubles " + all[0].key + " " + all[0].way + " " + now.UTC().Format(time.RFC3339)
	return 1, n.Notice(ctx, k, now, troubleTitle(all), text.String())
}
