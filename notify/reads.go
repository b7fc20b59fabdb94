package notify

import (
	"fmt"
	"regexp"

	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// Quantities are written in the units of whoever reads them: those that the vehicle's
// registration says, as its odometer shows; else the person's; else the folder's, which
// [people.Directory.Reading] gave them; else metric ones.

// reader is a person as messages are written for them.
type reader struct{ wording.Reader }

func readerOf(who *people.Person) reader { return reader{wording.Reader{Person: who}} }

// on is the person as a reader of a vehicle of which people read in those units.
func (p reader) on(reads []string) reader { return reader{p.On(reads)} }

// worded is the news in the words that the person reads.
func (p reader) worded(all []news) []news {
	out := make([]news, len(all))
	for i, n := range all {
		n.Transition = p.Spelled(p.on(n.Reads).Said(n.Transition), n.vehicle())
		out[i] = n
	}
	return out
}

// plainly is what [wording.Reader.Said] makes of the transition; the transition as it stands where
// that fails.
func (p reader) plainly(t *alarm.Transition) (out *alarm.Transition) {
	defer func() {
		if recover() != nil {
			out = t
		}
	}()
	c := *p.Said(t)
	c.Evidence = alarm.EvidenceIn(c.Evidence, p.Units())
	return &c
}

var distanceWritten = regexp.MustCompile(`\d ?(km|mi)\b`)

// asWritten is the note where the words of a rule, or what to mind, speak of distances in
// another unit than the person's: whoever wrote the rule typed them as words, not as quantities.
func asWritten(m *wording.Minds, all []news) string {
	for _, n := range all {
		var texts []string
		switch marked := n.Marked(); {
		case n.Task || n.Transition.Transition == alarm.Withdrawn:
		case n.Transition.Transition == alarm.Cleared:
			texts = []string{marked.Message}
		default:
			texts = []string{marked.Message, marked.Advise}
		}
		for _, text := range texts {
			if u := writtenIn(text); u != "" && u != m.Reader.On(n.Reads).Units().Distance {
				return fmt.Sprintf(ruleWords, u)
			}
		}
	}
	for _, line := range m.Lines {
		if u := writtenIn(line.Text); u != "" && u != m.Reader.Units().Distance {
			return fmt.Sprintf(ruleWords, u)
		}
	}
	return ""
}

// writtenIn is the unit of a distance that the text speaks of in words of its own; "" for
// none.
func writtenIn(text string) (u string) {
	english.Marks(text, func(literal string) {
		if m := distanceWritten.FindStringSubmatch(literal); m != nil {
			u = m[1]
		}
	}, func(english.Mark) {})
	return u
}
