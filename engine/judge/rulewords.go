package judge

import (
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/lab"
	"telltale/engine/latch"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/english"
)

// RuleWords fills in what a rule says of its last judgement.
func (v *View) RuleWords(t *alarm.Transition, ar rules.AppliedRule, l latch.Latch, at Judgement, from, to int, causes []event.ID) {
	r, j := ar.Rule, v.Judge
	t.Title, t.Events = r.Title, causes
	if at.Before == (record.Place{}) {
		t.Message = noLonger(r)
		return
	}
	x := v.FactsAt(ar.Component, at.Before, at.At)
	x.Reported = true
	if at.ID != (event.ID{}) {
		x.use(at.ID)
	}
	end, evidence, ok := j.Explain(r, x)
	if !ok {
		return
	}
	t.Evidence = evidence
	stage := max(from, to)
	if to > 0 {
		stage = to
		t.Advise, t.Cautions, t.PointsTo = v.Advice(r, to, x, end.Measure), Cautions(r, to), r.PointsTo
		t.OwnCautions, t.Source = v.Book.Own(t.Cautions), r.SourceOf(to)
		t.FollowUps, t.PullsIn = latch.OpenedBy(l.Openings, at.ID), latch.OpenedBy(l.Pulls, at.ID)
	}
	t.Message = j.Say(r, stage, x, end.Measure)
	if to == 0 && !r.Measured {
		t.Message = noLonger(r)
	}
	if r.Measured {
		m := end.Measure
		t.Measure = &m
	}
	for _, id := range t.Events {
		x.use(id)
	}
	t.Events = x.Used
}

// Advice is what the rule advises. Where it reckons how many drains thin a wear
// metal, it says what that does not do.
func (v *View) Advice(r *rules.Rule, stage int, x *Facts, measure float64) string {
	s := v.Judge.Advise(r, worded(r, stage), x, measure)
	for _, w := range []rules.Word{rules.WordExchangesTo, rules.WordLitresTo} {
		for _, a := range r.Asks(w) {
			if note := lab.DilutionNote(a); note != "" && !strings.Contains(s, note) {
				s = strings.TrimSpace(s + " " + note)
			}
		}
	}
	return s
}

// worded is the stage whose words a stage takes: its own, or where a rule is held to
// an advisory that it does not have, its mildest.
func worded(r *rules.Rule, stage int) int {
	for s := stage; s <= rules.Warning; s++ {
		if r.Has[s] {
			return s
		}
	}
	return stage
}

// Cautions are what to mind at what the rule advises at a stage.
func Cautions(r *rules.Rule, stage int) []string { return r.Cautions[worded(r, stage)] }

// noLonger is what a pattern says when it clears: its own words speak of what holds.
func noLonger(r *rules.Rule) string {
	if r.Title != "" {
		return english.Capital(r.Title) + ": no longer"
	}
	return english.Capital(r.Name) + ": no longer"
}
