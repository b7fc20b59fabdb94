package engine

import (
	"strings"
	"telltale/engine/lab"
	"telltale/rules"
	"telltale/rules/english"
)

// ruleWords fills in what a rule says of its last judgement.
func (f *view) ruleWords(t *Transition, ar rules.AppliedRule, l Latch, at judgement, from, to int, causes []ID) {
	r, j := ar.Rule, f.Judge
	t.Title, t.Events = r.Title, causes
	if at.before == (place{}) {
		t.Message = noLonger(r)
		return
	}
	x := f.factsAt(ar.Component, at.before, at.at)
	x.reported = true
	if at.id != (ID{}) {
		x.use(at.id)
	}
	end, evidence, ok := j.Explain(r, x)
	if !ok {
		return
	}
	t.Evidence = evidence
	stage := max(from, to)
	if to > 0 {
		stage = to
		t.Advise, t.Cautions, t.PointsTo = f.advice(r, to, x, end.Measure), cautions(r, to), r.PointsTo
		t.OwnCautions, t.Source = f.Book.Own(t.Cautions), r.SourceOf(to)
		t.FollowUps, t.PullsIn = opened(l.Openings, at.id), opened(l.Pulls, at.id)
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
	t.Events = x.used
}

// advice is what the rule advises. Where it reckons how many drains thin a wear
// metal, it says what that does not do.
func (f *view) advice(r *rules.Rule, stage int, x *facts, measure float64) string {
	s := f.Judge.Advise(r, worded(r, stage), x, measure)
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

func cautions(r *rules.Rule, stage int) []string { return r.Cautions[worded(r, stage)] }

// noLonger is what a pattern says when it clears: its own words speak of what holds.
func noLonger(r *rules.Rule) string {
	if r.Title != "" {
		return english.Capital(r.Title) + ": no longer"
	}
	return english.Capital(r.Name) + ": no longer"
}
