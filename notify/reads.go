package notify

import (
	"fmt"
	"regexp"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Quantities are written in the units of whoever reads them: those that the vehicle's
// registration says, as its odometer shows; else the person's; else the folder's, which
// [people.Directory.Reading] gave them; else metric ones.

// reader is a person as words are written for them: in the units in which they read of
// one vehicle, their order of dates and their zone.
type reader struct {
	*people.Person
	vehicle []string // what the vehicle's registration says
}

// on is the person as a reader of a vehicle of which people read in those units.
func (p reader) on(reads []string) reader { return reader{p.Person, reads} }

// units are those in which the person reads of the vehicle.
func (p reader) units() unit.System {
	own, _ := unit.SystemOf(p.vehicle) // checked when it came in
	return own.Or(p.Units()).Or(unit.Metric)
}

// UnitsOf are the units in which a person reads of a vehicle of which the registration
// says those.
func UnitsOf(who *people.Person, reads []string) unit.System { return reader{who, reads}.units() }

// meter writes metres or seconds of running.
func (p reader) meter(v float64, base string) string {
	k := unit.Distance
	if base == "s" {
		k = unit.Time
	}
	return english.Reader{Units: p.units()}.Amount(v, k)
}

// litres writes a volume.
func (p reader) litres(v float64) string {
	return english.Reader{Units: p.units()}.Amount(v, unit.Volume)
}

// worded is the news in the words that the person reads.
func (p reader) worded(all []news) []news {
	out := make([]news, len(all))
	for i, n := range all {
		n.Transition = p.spelled(p.on(n.Reads).said(n.Transition), n.vehicle())
		out[i] = n
	}
	return out
}

// said is the transition with its texts in the person's units.
func (p reader) said(t *alarm.Transition) *alarm.Transition { return t.Worded(p.units()) }

// saidOf is work with its words in the person's units.
func (p reader) saidOf(i *due.Item) *due.Item {
	c := *i
	c.Why, c.Amounts = english.Written(english.Marked(i.Why, i.Amounts), p.units())
	return &c
}

// plainly is what [reader.said] makes of the transition; the transition as it stands where
// that fails.
func (p reader) plainly(t *alarm.Transition) (out *alarm.Transition) {
	defer func() {
		if recover() != nil {
			out = t
		}
	}()
	c := *p.said(t)
	c.Evidence = alarm.EvidenceIn(c.Evidence, p.units())
	return &c
}

var distanceWritten = regexp.MustCompile(`\d ?(km|mi)\b`)

// asWritten is the note where the words of a rule, or what to mind, speak of distances in
// another unit than the person's: whoever wrote the rule typed them as words, not as quantities.
func (m *minds) asWritten(all []news) string {
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
			if u := writtenIn(text); u != "" && u != m.p.on(n.Reads).units().Distance {
				return fmt.Sprintf(ruleWords, u)
			}
		}
	}
	for _, line := range m.lines {
		if u := writtenIn(line.Text); u != "" && u != m.p.units().Distance {
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
