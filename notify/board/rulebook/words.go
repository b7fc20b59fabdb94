package rulebook

import (
	"strings"

	"telltale/engine/reach"
	"telltale/notify/stages"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

const (
	wordNoBook       = "No rules are in force yet."
	wordNoBookDo     = "Put rule files into the folder's rules/ and start the service, or run telltale adopt. Until then nothing is judged; what is reported is kept."
	wordUnreadable   = "The text of the rules in force cannot be read."
	wordUnreadableDo = "Vehicles are judged as before. Adopt the folder's files again: telltale adopt, or restart the service."
	wordFolder       = "Rules are changed in the folder's files, or put in force by telltale adopt. This page only shows them."
	wordAsShipped    = "as it comes with the program"
	wordChanged      = "changed here"
	wordOwn          = "your own"
)

// contents counts what a book or a file holds.
func contents(tasks, judged, baselines, cases int) string {
	var parts []string
	for _, c := range []struct {
		n    int
		what string
	}{{tasks, "task"}, {judged, "rule"}, {baselines, "baseline"}, {cases, "case"}} {
		if c.n > 0 {
			parts = append(parts, english.Plural(c.n, c.what))
		}
	}
	if parts == nil {
		return "nothing that is judged"
	}
	return english.List("and", parts)
}

// reaches says how far a part reaches.
func reaches(p reach.Part) string {
	parts := []string{"Applies to " + english.Counted(p.Vehicles, "vehicle", "vehicles")}
	if p.Vehicles == 0 {
		return "Applies to no vehicle."
	}
	for _, stage := range stages.Order {
		if n := p.Stands[stage]; n > 0 {
			parts = append(parts, unit.Grouped(float64(n))+" "+stages.Of(stage).Many)
		}
	}
	if p.NotJudged > 0 {
		parts = append(parts, unit.Grouped(float64(p.NotJudged))+" could not be judged")
	}
	return english.Sentence(strings.Join(parts, "; "))
}

// unfilled says of a book how much is to be filled in.
func unfilled(b *rules.Book) string {
	if len(b.ToFill) == 0 {
		return ""
	}
	return english.Counted(len(b.ToFill), "figure is", "figures are") + " still to be filled in: what needs them is not in use."
}
