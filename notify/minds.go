package notify

import (
	"slices"
	"strings"
	"time"

	"telltale/notify/page"
	"telltale/rules"
	"telltale/rules/english"
)

// minds are what to mind, each caution once, in order of first mention. A caution is
// told in full once a day to a person, and by its name in what else they get that day.
type minds struct {
	p      reader
	told   []string // in full, earlier today
	full   []string
	lines  []page.Line
	byName []string
}

// add takes cautions, with the words of those that their book explains itself.
func (m *minds) add(names []string, own map[string]string) {
	for _, c := range names {
		switch {
		case c == "" || slices.Contains(m.full, c) || slices.Contains(m.byName, c):
		case slices.Contains(m.told, c):
			m.byName = append(m.byName, c)
		default:
			m.full = append(m.full, c)
			m.lines = append(m.lines, page.Line{Text: m.p.cautionsOf([]string{c}, own)[0]})
		}
	}
}

// all are the lines, the names of what was told in full before last.
func (m *minds) all() []page.Line {
	if len(m.byName) == 0 {
		return m.lines
	}
	var names []string
	for _, c := range m.byName {
		if rules.CautionWords(c) != "" {
			c = m.p.ours(c)
		}
		names = append(names, c)
	}
	label := alsoMind
	if len(m.lines) == 0 {
		label = alreadyMind
	}
	return append(m.lines, page.Line{Label: label, Text: english.Ended(strings.Join(names, ", "))})
}

// minded is what a person was told in full on a day of their own.
type minded struct {
	Day      string   `json:"day"`
	Cautions []string `json:"cautions"`
}

// toldToday are the cautions that the person has read in full on the day of a message.
func (k *mark) toldToday(p reader, at time.Time) []string {
	if m := k.Minded[p.ID]; m.Day == at.In(p.Zone).Format(time.DateOnly) {
		return m.Cautions
	}
	return nil
}

// noteMinded remembers what a message tells in full.
func (k *mark) noteMinded(p reader, m Message, at time.Time) {
	if len(m.cautions) == 0 {
		return
	}
	all := append(slices.Clone(k.toldToday(p, at)), m.cautions...)
	slices.Sort(all)
	if k.Minded == nil {
		k.Minded = map[string]minded{}
	}
	k.Minded[p.ID] = minded{at.In(p.Zone).Format(time.DateOnly), slices.Compact(all)}
}
