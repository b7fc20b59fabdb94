package wording

import (
	"fmt"
	"maps"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/page"
	"telltale/rules/english"
)

// Work is what a list says of a piece of work: what it is, why it is due and when, when it
// was last done. today is YYYY-MM-DD.
func (p Reader) Work(i *due.Item, today string) page.Item {
	it := page.Item{What: on(i.Title, i.Component)}
	why := english.Sentences(p.WhyDue(i, today), p.Forecast(i, today), p.PulledIn(i), i.Postponed, p.LastDone(i))
	it.Lines = []page.Line{{Text: why}}
	if i.Figures != nil {
		it.Lines = append(it.Lines, page.Line{Text: english.Sentence(i.Figures.Text(p.Litres))})
	}
	if i.Statutory {
		it.Strong = LawWords(i.Stage)
	}
	return it
}

// Alarm is what a list says of an alarm: what was found, since when, what to do, whether
// anybody knows.
func (p Reader) Alarm(s *alarm.Listed) page.Item {
	it := page.Item{What: AlarmOn(&s.Transition)}
	text := english.Sentences(p.DatesIn(s.Message), Noted(p.Day(s.Since)))
	advise := english.Sentences(DoFirst(false, s.Statutory, s.To, s.Advise))
	if s.To == alarm.Warning {
		it.Strong = advise
	} else {
		text = english.Sentences(text, advise)
	}
	if s.Standing == alarm.Unacknowledged {
		text = english.Sentences(text, notAcknowledged)
	}
	it.Lines = []page.Line{{Text: text}}
	return it
}

// Ready sums what to have ready for the work that is due or soon.
func (p Reader) Ready(work []*due.Item) []page.Line {
	fluids, parts := map[string]float64{}, map[string]int{}
	for _, i := range work {
		if i.Stage == alarm.Normal {
			continue
		}
		for _, n := range i.Needs {
			if n.Fluid != "" {
				fluids[n.Fluid] += n.Volume
			}
			if n.Part != "" {
				parts[n.Part] += max(1, n.Count)
			}
		}
	}
	var out []page.Line
	for _, f := range slices.Sorted(maps.Keys(fluids)) {
		text := f
		if fluids[f] > 0 {
			text = p.Litres(fluids[f]) + " " + f
		}
		out = append(out, page.Line{Text: text})
	}
	for _, part := range slices.Sorted(maps.Keys(parts)) {
		out = append(out, page.Line{Text: fmt.Sprintf("%d × %s", parts[part], part)})
	}
	return out
}
