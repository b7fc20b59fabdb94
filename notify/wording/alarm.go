package wording

import (
	"cmp"
	"regexp"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/stages"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/word"
)

var opensWithStop = regexp.MustCompile(`(?i)^\W*(stop|inspect|do not (use|drive|run|start))\b`)

// LawWords mark work that the law asks for.
func LawWords(stage alarm.Stage) string {
	if stage == alarm.Soon || stage == alarm.Normal {
		return "Required by law."
	}
	return byLaw
}

// DoFirst is what to do, the first thing that a block says.
func DoFirst(task, statutory bool, stage alarm.Stage, advise string) string {
	switch {
	case stage == alarm.Warning && !opensWithStop.MatchString(advise):
		return english.Sentences(StopFirst, advise)
	case task && statutory:
		return english.Sentences(cmp.Or(advise, stages.Of(stage).Advise), LawWords(stage))
	case task:
		return cmp.Or(advise, stages.Of(stage).Advise)
	}
	return advise
}

// CautionsOf says what to mind, a sentence each: by the words of the book, by those
// that all books share, or by the caution's name alone.
func (p Reader) CautionsOf(cautions []string, own map[string]string) (out []string) {
	for _, c := range cautions {
		out = append(out, english.Sentence(cmp.Or(own[c], p.Ours(rules.CautionWords(c)), c)))
	}
	return out
}

// EndOf says that something is over.
func EndOf(t *alarm.Transition) string {
	switch {
	case t.Transition == alarm.Withdrawn:
		return takenBack
	case t.Lapsed:
		return notInTime
	case t.Task && t.Due != nil && t.Due.Postponed != "": // nobody did it
		return english.Sentences(t.Due.Postponed, notDueNow)
	case t.Task:
		return RecordedDone
	}
	return backToNormal
}

// Figures are the numbers of the evidence in words: "copper, times the baseline: 3.3". A
// distance or a volume is in the person's unit, and where a number comes from is said
// once and in short. What answers yes or no, and what a rule reckons on the way, is told
// by why alone.
func (p Reader) Figures(all []word.Evidence, task bool) (out []string) {
	said := map[string]bool{}
	for _, e := range alarm.EvidenceIn(all, p.Units()) {
		what, yes := e.Told()
		reckoned := !task && e.Unit == "" && !strings.Contains(e.Of, "(")
		if yes || what == "" || reckoned {
			continue
		}
		figure := strings.TrimSpace(english.FourFigures(e.Value) + " " + english.Unit(e.Unit))
		var notes []string
		for note := range strings.SplitSeq(e.Note, "; ") {
			if note, _, _ = strings.Cut(note, ", "); note != "" && note != figure && !said[note] {
				said[note] = true
				notes = append(notes, note)
			}
		}
		if len(notes) > 0 {
			figure += " (" + strings.Join(notes, "; ") + ")"
		}
		what = p.Ours(what, quotedNames(e.Of)...)
		out = append(out, what+": "+figure)
	}
	return out
}

// Noted says since when something stands.
func Noted(when string) string { return "Since " + when + "." }

// MessageOf leaves out a title that the heading says already.
func MessageOf(t *alarm.Transition) string { return strings.TrimPrefix(t.Message, TitleOf(t)+": ") }

// TitleOf is what people call the rule or task.
func TitleOf(t *alarm.Transition) string { return cmp.Or(t.Title, t.Rule) }

// AlarmOn names an alarm of a list or a summary.
func AlarmOn(t *alarm.Transition) string {
	if t.Component == "" {
		return TitleOf(t)
	}
	return t.Component + ", " + TitleOf(t)
}

// WorkOn names what is to be done.
func WorkOn(t *alarm.Transition) string { return on(TitleOf(t), t.Component) }

func on(work, component string) string {
	if component == "" {
		return work
	}
	return work + " (" + component + ")"
}

// HeadOf names an alarm of a vehicle: "Bus 7, engine: Coolant hot".
func HeadOf(vehicle string, t *alarm.Transition) string {
	if t.Component != "" {
		vehicle += ", " + t.Component
	}
	return vehicle + ": " + TitleOf(t)
}
