// Package stood tells how rules stood after samples that are not the latest: by the rules
// in force, with what came up to each sample and nothing later. It asks a [judge.View] and
// changes nothing.
package stood

import (
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/rules"
)

// Verdict is what stood by the rules in force once the sample was judged.
type Verdict struct {
	Stage     alarm.Stage `json:"stage"` // the worst of those that stand
	Stands    []Rule      `json:"stands,omitempty"`
	NotJudged []string    `json:"notJudged,omitempty"` // rules that lacked something
	Judged    int         `json:"judged"`
	Book      string      `json:"book"`
}

// Rule is one that stood.
type Rule struct {
	Rule  string      `json:"rule"`
	Stage alarm.Stage `json:"stage"`
}

// After is how a rule on samples stood on a component once a sample was judged, and the
// last place up to it at which the rule could be.
func After(v *judge.View, r *rules.Rule, comp int, sample judge.Judgement) (l latch.Latch, last judge.Judgement) {
	l.Key = v.Key(r.Name, comp)
	for _, at := range v.Judgements(r, comp) {
		if at.Before.Compare(sample.Before) > 0 {
			break
		}
		if v.Step(r, comp, &l, at) {
			last = at
		}
		if at.ID == sample.ID {
			break // another may be at the same place
		}
	}
	return l, last
}

// All is what stood after each sample of the vehicle that the record keeps.
func All(v *judge.View) map[event.ID]Verdict {
	out := map[event.ID]Verdict{}
	for comp := range v.Applied().Reg.Components {
		note(v, comp, out)
	}
	return out
}

// Of is what stood after each sample of a component that the record keeps.
func Of(v *judge.View, comp int) map[event.ID]Verdict {
	out := map[event.ID]Verdict{}
	note(v, comp, out)
	return out
}

// note walks each rule over the samples of a component.
func note(v *judge.View, comp int, out map[event.ID]Verdict) {
	for _, s := range v.Timeline(comp).Steps {
		if s.Sample != nil {
			out[s.Sample.ID] = Verdict{Stage: alarm.Normal, Book: v.BookHash()}
		}
	}
	for _, ar := range v.Applied().Rules.Rules {
		if ar.Rule.On&rules.OnSample != 0 && ar.Component == comp {
			noteRule(v, ar.Rule, comp, out)
		}
	}
}

// noteRule notes how the rule stood after each sample.
func noteRule(v *judge.View, r *rules.Rule, comp int, out map[event.ID]Verdict) {
	l := latch.Latch{Key: v.Key(r.Name, comp)}
	for _, at := range v.Judgements(r, comp) {
		v.Step(r, comp, &l, at)
		value, ok := out[at.ID]
		if !ok {
			continue
		}
		if len(l.Missing) > 0 {
			value.NotJudged = append(value.NotJudged, r.Name)
		} else {
			value.Judged++
		}
		if l.Stage > 0 {
			if l.Stage > slices.Index(alarm.RuleStages[:], value.Stage) {
				value.Stage = alarm.RuleStages[l.Stage]
			}
			value.Stands = append(value.Stands, Rule{r.Name, alarm.RuleStages[l.Stage]})
		}
		out[at.ID] = value
	}
}
