package vehicle

import (
	"telltale/engine/defect"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/handover"
	"telltale/rules/english"
)

// task is how a due point came about.
type task struct {
	Label, Done string // when it was last done, or what stands for that
	By          fact   // the event behind it
	Dropped     string
	Defects     []fact
	Factor      string
	Untold      string
	Postponed   string
	Pulled      []fact
	Limits      []reckoned
	Worn        []worn
	Likely      string
	Range       string
	Next        string
}

// reckoned is one limit of a task.
type reckoned struct {
	Head, Source string
	Decides      bool
	Points       []string
	Meter        []string
}

// worn is one measure by which the task is due.
type worn struct{ Says, Source, Sure string }

func (v *told) task(r *due.Reckoning) *task {
	t := &task{Factor: v.said(r.FactorWords()), Untold: english.Sentence(v.said(r.Untold)), Postponed: english.Sentence(v.said(r.Postponed)), Likely: v.said(r.LikelyWords()), Range: english.Sentence(v.said(r.Range)), Next: english.Sentence(v.said(r.Next()))}
	t.Label, t.Done = r.Done()
	t.Label, t.Done = english.Capital(t.Label), v.said(t.Done)
	t.By = v.source(r.By)
	if r.FollowUp && r.Lapses != "" {
		t.Dropped = r.DroppedWords()
	}
	for i := range r.Defects {
		f := v.source(&r.Defects[i].ID)
		f.What = english.Sentence(v.said(defect.Words(r.Defects[i : i+1])))
		t.Defects = append(t.Defects, f)
	}
	for i := range r.PulledIn {
		f := v.source(r.PulledIn[i].By)
		f.What = english.Sentence(v.said(r.PulledWords(i)))
		t.Pulled = append(t.Pulled, f)
	}
	for i := range r.Limits {
		t.Limits = append(t.Limits, v.reckoned(&r.Limits[i]))
	}
	for i := range r.Worn {
		w := &r.Worn[i]
		t.Worn = append(t.Worn, worn{english.Sentence(v.said(w.Says)), clean(w.Source), english.Sentence(w.SureWords())})
	}
	return t
}

func (v *told) reckoned(l *due.ReckonedLimit) reckoned {
	out := reckoned{Head: english.Capital(v.said(l.Head())), Source: clean(l.Source), Decides: l.Decides}
	for _, line := range l.Points() {
		out.Points = append(out.Points, english.Sentence(v.said(line)))
	}
	if l.Meter != nil {
		for _, line := range l.Meter.Lines() {
			out.Meter = append(out.Meter, english.Sentence(v.said(line)))
		}
	}
	return out
}

// source is the event that something comes from; empty without one.
func (v *told) source(id *event.ID) fact {
	if id == nil {
		return fact{}
	}
	return fact{Source: handover.SourceOf(id), Entry: v.entryPath(*id)}
}
