package notify

import (
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/rules/analytes"
	"telltale/rules/chapters"
)

// Our own words are spelled as the person has them, those of the chapters too. What a
// fleet wrote itself is its own: names, notes, and the texts of its own rules and tasks.

// ours is our own text in the person's spelling, but for what it quotes of somebody else.
func (p reader) ours(text string, quoted ...string) string { return p.Spelling.Of(text, quoted...) }

// Title is what a person reads a task or rule to be called: by its title, a chapter's in
// their spelling.
func Title(who *people.Person, rule, title string) string {
	return titleOf(reader{Person: who}.spelled(&alarm.Transition{Rule: rule, Title: title}, ""))
}

// spelled is the transition in the person's spelling, where its words are a chapter's.
func (p reader) spelled(t *alarm.Transition, vehicle string) *alarm.Transition {
	if p.Spelling == 0 || !chapters.Wrote(t.Rule, t.Title) {
		return t
	}
	of := *t
	theirs := []string{vehicle, t.Vehicle, t.Component}
	of.Title = p.ours(titleOf(t))
	of.Message, of.Advise = p.ours(t.Message, theirs...), p.ours(t.Advise, theirs...)
	of.PointsTo = slices.Clone(t.PointsTo)
	for i, s := range of.PointsTo {
		of.PointsTo[i] = p.ours(s)
	}
	return &of
}

// quotedNames are the names in what a rule asks that are no analytes: those of a
// fleet's own tasks.
func quotedNames(of string) (out []string) {
	parts := strings.Split(of, `"`)
	for i := 1; i < len(parts); i += 2 {
		if _, ours := analytes.Of(parts[i]); !ours {
			out = append(out, parts[i])
		}
	}
	return out
}
