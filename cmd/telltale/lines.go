package main

import (
	"fmt"
	"strings"

	"telltale/engine"
)

// transitionLine is a transition as a terminal shows it: when, what, to what.
func transitionLine(t *engine.Transition) string {
	where := t.Vehicle
	if t.Component != "" {
		where += " " + t.Component
	}
	stage := t.To
	if t.Transition == "eased" || t.Transition == "cleared" || t.Transition == "withdrawn" {
		stage = t.From + " -> " + t.To
	}
	line := fmt.Sprintf("%s  %-22s %-12s %-9s %s", t.Time.Format("2006-01-02 15:04"), where, t.Transition, stage, t.Rule)
	if t.Message != "" {
		line += "\n" + strings.Repeat(" ", 18) + t.Message
	}
	return printable(line)
}

func refusalLine(r *engine.Refusal) string {
	at := ""
	if r.Line > 0 {
		at = fmt.Sprintf("line %d: ", r.Line)
	}
	from := r.Vehicle
	if r.Event != nil {
		from = strings.TrimSpace(from + " " + r.Event.Source + " " + r.Event.ID)
	}
	if !r.Time.IsZero() {
		from = strings.TrimSpace(r.Time.Format("2006-01-02 15:04") + " " + from)
	}
	if from != "" {
		from = " (" + from + ")"
	}
	word := "refused: "
	if r.Kept {
		word = "not used: "
	}
	return printable(word + at + r.Refused + from)
}

func notJudgedLine(n *engine.NotJudged) string {
	where := n.Vehicle
	if n.Component != "" {
		where += " " + n.Component
	}
	return fmt.Sprintf("%s  %-22s not judged   %s: missing %s", n.Time.Format("2006-01-02 15:04"), where, n.Rule, strings.Join(n.Missing, ", "))
}

// strangers says which vehicles nobody registered; the list itself has no place for
// them, since nothing of theirs was judged.
func strangers(s streams, vehicles []string) {
	const most = 20
	if len(vehicles) == 0 {
		return
	}
	more := ""
	if n := len(vehicles) - most; n > 0 {
		vehicles, more = vehicles[:most], fmt.Sprintf(" and %d more", n)
	}
	fmt.Fprintf(s.err, "not registered, so their events are kept for 90 days and judged once they are: %s%s\n", strings.Join(vehicles, ", "), more)
}
