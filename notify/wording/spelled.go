package wording

import (
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/notify/people"
	"telltale/rules/analytes"
	"telltale/rules/chapters"
)

// Ours is our own text in the person's spelling, but for what it quotes of somebody else.
func (p Reader) Ours(text string, quoted ...string) string { return p.Spelling.Of(text, quoted...) }

// Title is what a person reads a task or rule to be called: by its title, a chapter's in
// their spelling.
func Title(who *people.Person, rule, title string) string {
	return TitleOf(Reader{Person: who}.Spelled(&alarm.Transition{Rule: rule, Title: title}, ""))
}

// Spelled is the transition in the person's spelling, where its words are a chapter's.
func (p Reader) Spelled(t *alarm.Transition, vehicle string) *alarm.Transition {
	if p.Spelling == 0 || !chapters.Wrote(t.Rule, t.Title) {
		return t
	}
	of := *t
	theirs := []string{vehicle, t.Vehicle, t.Component}
	of.Title = p.Ours(TitleOf(t))
	of.Message, of.Advise = p.Ours(t.Message, theirs...), p.Ours(t.Advise, theirs...)
	of.PointsTo = slices.Clone(t.PointsTo)
	for i, s := range of.PointsTo {
		of.PointsTo[i] = p.Ours(s)
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
