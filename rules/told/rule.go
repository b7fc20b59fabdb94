package told

import (
	"fmt"
	"strings"

	"telltale/rules"
	"telltale/rules/analytes"
	"telltale/rules/english"
)

// Rule is what a rule says, beside its limits, measure and cautions.
func (t Teller) Rule(r *rules.Rule) []Line {
	var l lines
	l.add("Looked at", looksAt(r), "")
	l.part(&r.Part)
	if !r.Measured {
		l.add("Stage", rules.StageNames[r.Stage], r.SourceOf(r.Stage))
		if r.Confirm[r.Stage] > 1 {
			l.add("Confirmed by", english.Plural(r.Confirm[r.Stage], "sample")+" in a row", r.Sources.Of("confirm"))
		}
	}
	l.names("Reads", "and", named(r.Reads()))
	l.add("Ends", t.ends(r), r.Sources.Of("deadband"))
	if !r.ByMeasures && r.On&rules.OnSample != 0 {
		l.add("After a fluid change", t.masked(r), r.Sources.Of("masked"))
	}
	if r.Softened {
		l.add("Older fluid", "limits of watch and look rise with a fluid that is older than the one that it is compared with; the limit of stop does not", "")
	}
	l.names("Points to", "or", r.PointsTo)
	t.followUps(&l, r.FollowUps, func(name string) string { return r.Sources.Of("follow up " + name) })
	for _, p := range r.PullIns {
		label := "Brings forward"
		if p.Stage > 0 {
			label += ", from " + rules.StageNames[p.Stage]
		}
		l = append(l, Line{Label: label, Text: fmt.Sprintf("%s, within %s", p.Task, t.amounts(p.Within)), Source: r.Sources.Of("pull in " + p.Task)})
	}
	return l
}

// looksAt says what has the rule judged.
func looksAt(r *rules.Rule) string {
	var at []string
	for _, on := range []struct {
		on    rules.On
		words string
	}{{rules.OnSample, "each sample"}, {rules.OnReading, "each reading"}, {rules.OnService, "each entry of work"}, {rules.OnClock, "each day"}} {
		if r.On&on.on == 0 {
			continue
		}
		if on.on == rules.OnSample && r.ByMeasures {
			on.words = "each measurement by hand"
		}
		at = append(at, on.words)
	}
	return english.List("and", at)
}

// named are analytes as people read them; tasks and grades stay as they are.
func named(list []string) (out []string) {
	for _, a := range list {
		if a != "" { // of a word that asks of nothing
			out = append(out, analytes.Named(a))
		}
	}
	return out
}

// ends says what has a stage end.
func (t Teller) ends(r *rules.Rule) string {
	switch {
	case !r.Measured && r.HasClear:
		return "when what `clear` asks for comes true"
	case !r.Measured:
		return "when it is not so any more"
	case r.Deadband > 0:
		return fmt.Sprintf("when the value is back past the limit by %s %% of it", english.Number(r.Deadband*100))
	case r.Band > 0:
		return fmt.Sprintf("when the value is back past the limit by %s", t.value(r, r.Band))
	}
	return "when the value is back at the limit"
}

// masked says how long a fluid change keeps the rule from easing.
func (t Teller) masked(r *rules.Rule) string {
	switch {
	case !r.Masked:
		return "it may ease at once: a change cures what it looks for"
	case r.MaskedFor != (rules.Limits{}):
		return "it does not ease before the new fluid has run " + t.amounts(r.MaskedFor) + ", since the change took away the evidence"
	}
	return strings.Join([]string{"it does not ease before the new fluid has run half as far as the old one",
		"since the change took away the evidence"}, ", ")
}
