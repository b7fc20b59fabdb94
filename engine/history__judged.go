package engine

import (
	"slices"
	"telltale/rules"
)

// judgedSamples walks each rule on samples over the samples that the record keeps,
// and notes what stood after each.
func judgedSamples(f *view) map[ID]HistoryVerdict {
	out := map[ID]HistoryVerdict{}
	for comp, def := range f.applied().reg.Components {
		t := f.timeline(comp)
		for _, s := range t.steps {
			if s.sample != nil {
				out[s.sample.ID] = HistoryVerdict{Stage: normal, Book: f.bookHash()}
			}
		}
		for _, ar := range f.applied().rules.Rules {
			if ar.Rule.On&rules.OnSample != 0 && ar.Component == comp {
				noteStages(f, out, ar.Rule, comp, AlarmKey{ar.Rule.Name, def.Name})
			}
		}
	}
	return out
}

// noteStages notes how the rule stood after each sample.
func noteStages(f *view, out map[ID]HistoryVerdict, r *rules.Rule, comp int, k AlarmKey) {
	l := Latch{AlarmKey: k}
	for _, at := range f.judgements(r, comp) {
		f.step(r, comp, &l, at)
		v, ok := out[at.id]
		if !ok {
			continue
		}
		if len(l.Missing) > 0 {
			v.NotJudged = append(v.NotJudged, r.Name)
		} else {
			v.Judged++
		}
		if l.Stage > 0 {
			if l.Stage > slices.Index(ruleStages[:], v.Stage) {
				v.Stage = ruleStages[l.Stage]
			}
			v.Stands = append(v.Stands, HistoryStands{r.Name, ruleStages[l.Stage]})
		}
		out[at.id] = v
	}
}
