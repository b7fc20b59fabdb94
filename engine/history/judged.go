package history

import (
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/rules"
)

// judgedSamples walks each rule on samples over the samples that the record keeps,
// and notes what stood after each.
func judgedSamples(v *judge.View) map[event.ID]Verdict {
	out := map[event.ID]Verdict{}
	for comp, def := range v.Applied().Reg.Components {
		t := v.Timeline(comp)
		for _, s := range t.Steps {
			if s.Sample != nil {
				out[s.Sample.ID] = Verdict{Stage: alarm.Normal, Book: v.BookHash()}
			}
		}
		for _, ar := range v.Applied().Rules.Rules {
			if ar.Rule.On&rules.OnSample != 0 && ar.Component == comp {
				noteStages(v, out, ar.Rule, comp, alarm.Key{Rule: ar.Rule.Name, Component: def.Name})
			}
		}
	}
	return out
}

// noteStages notes how the rule stood after each sample.
func noteStages(v *judge.View, out map[event.ID]Verdict, r *rules.Rule, comp int, k alarm.Key) {
	l := latch.Latch{Key: k}
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
			value.Stands = append(value.Stands, Stands{r.Name, alarm.RuleStages[l.Stage]})
		}
		out[at.ID] = value
	}
}
