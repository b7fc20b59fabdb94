package vehicle

import (
	"fmt"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/rules/english"
)

// stand is an alarm of a rule, or on the data, that stands.
type stand struct {
	frame.Badge
	What     string
	Strong   string // what to do, before all else
	Lines    []page.Line
	Why      string // an address, as are the others; "" for none
	Answers  []frame.Link
	severity int
}

// stands are the alarms of rules and on the data, the worst first; what is put aside and
// what is back to normal comes last.
func (v *told) stands() (out []stand) {
	for i := range v.Alarms {
		if a := &v.Alarms[i]; !a.Task {
			out = append(out, v.stand(a))
		}
	}
	slices.SortStableFunc(out, func(a, b stand) int { return b.severity - a.severity })
	return out
}

func (v *told) stand(a *alarm.Listed) stand {
	said := *a
	said.Transition = *v.by.Spelled(v.by.Said(&a.Transition), v.title())
	said.Advise = frame.Advise(&said.Transition)
	it := v.by.Alarm(&said)
	s := stand{Badge: frame.BadgeOf(a.To), What: english.Capital(clean(it.What)), Strong: clean(it.Strong), Lines: it.Lines, Why: v.whyPath(a.Rule, a.Component), severity: stages.Of(a.To).Severity}
	for i := range s.Lines {
		s.Lines[i].Text = clean(s.Lines[i].Text)
	}
	if !v.may(rights.See) {
		s.Why = ""
	}
	answer := func(words, answer string) {
		s.Answers = append(s.Answers, v.answered(words, answer, "rule", a.Rule, a.Component, a.To)...)
	}
	switch a.Standing {
	case alarm.Returned:
		s.Badge, s.severity = frame.Badge{Word: wordOK}, -2
		s.Lines = append(s.Lines, page.Line{Text: wordReturned})
		answer("Acknowledge", "acknowledge")
	case alarm.Shelved:
		s.Badge.Weight, s.Badge.Colour, s.severity = 0, "", -1
		s.Lines = append(s.Lines, page.Line{Text: fmt.Sprintf(wordAside, v.by.Day(a.ShelvedUntil.In(v.where)))})
		answer("Bring back", "unshelve")
	case alarm.Unacknowledged:
		answer("Acknowledge", "acknowledge")
		answer("Put aside", "shelve")
	case alarm.Acknowledged:
		answer("Put aside", "shelve")
	}
	if a.Rule == doubt.GoingBack && a.To != alarm.Normal {
		s.Answers = append(s.Answers, v.offered(rights.Work, "It was replaced", v.path("replaced"))...)
		answer("The lower readings are right", "accept")
	}
	return s
}
