package wording

import (
	"slices"
	"strings"

	"telltale/notify/page"
	"telltale/rules"
	"telltale/rules/english"
)

// Minds are what to mind, each caution once, in order of first mention. A caution is
// told in full once a day to a person, and by its name in what else they get that day.
type Minds struct {
	Reader Reader
	Told   []string    // in full, earlier today
	Full   []string    // those that are told in full
	Lines  []page.Line // of these
	byName []string
}

// Add takes cautions, with the words of those that their book explains itself.
func (m *Minds) Add(names []string, own map[string]string) {
	for _, c := range names {
		switch {
		case c == "" || slices.Contains(m.Full, c) || slices.Contains(m.byName, c):
		case slices.Contains(m.Told, c):
			m.byName = append(m.byName, c)
		default:
			m.Full = append(m.Full, c)
			m.Lines = append(m.Lines, page.Line{Text: m.Reader.CautionsOf([]string{c}, own)[0]})
		}
	}
}

// All are the lines, the names of what was told in full before last.
func (m *Minds) All() []page.Line {
	if len(m.byName) == 0 {
		return m.Lines
	}
	var names []string
	for _, c := range m.byName {
		if rules.CautionWords(c) != "" {
			c = m.Reader.Ours(c)
		}
		names = append(names, c)
	}
	label := alsoMind
	if len(m.Lines) == 0 {
		label = alreadyMind
	}
	return append(m.Lines, page.Line{Label: label, Text: english.Ended(strings.Join(names, ", "))})
}
