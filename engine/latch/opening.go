package latch

import (
	"slices"

	"telltale/engine/event"
	"telltale/rules"
)

// Open notes the follow-ups that reaching the stage opens, each once in a life of
// the alarm.
func (l *Latch) Open(r *rules.Rule, from int, stood Opening) {
	if from == 0 {
		l.Opened, l.PullsNow = nil, 0
	}
	stood.Stage = l.Stage
	for i := range r.PullIns {
		l.pullIn(&r.PullIns[i], stood)
	}
	for _, fu := range r.FollowUps {
		if fu.Stage != 0 && fu.Stage != l.Stage || slices.Contains(l.Opened, fu.Name) {
			continue
		}
		l.Opened = append(slices.Clone(l.Opened), fu.Name)
		stood.Name = fu.Name
		l.Openings = withLatest(l.Openings, stood)
	}
}

// pullIn notes what the stage that was just reached pulls in: once in a life of the
// alarm, and again where a worse stage asks for it by limits of its own.
func (l *Latch) pullIn(p *rules.PullIn, stood Opening) {
	now := l.Pulls[len(l.Pulls)-min(l.PullsNow, len(l.Pulls)):]
	asked := func(o Opening) bool { return o.Name == p.Task && o.OfStage(p.Stage) }
	if p.Stage != 0 && p.Stage != l.Stage || slices.ContainsFunc(now, asked) {
		return
	}
	stood.Name = p.Task
	l.Pulls = withLatest(l.Pulls, stood)
	l.PullsNow++
}

// OfStage reports whether it was opened by what a rule says at the stage; 0 is any.
func (o *Opening) OfStage(stage int) bool { return stage == 0 || o.Stage == 0 || stage == o.Stage }

// OpenedBy are the names that the event opened.
func OpenedBy(list []Opening, by event.ID) []string {
	var out []string
	for _, o := range list {
		if o.By == by && !slices.Contains(out, o.Name) {
			out = append(out, o.Name)
		}
	}
	return out
}

// withLatest is list with o, without the oldest where there are too many.
func withLatest(list []Opening, o Opening) []Opening {
	list = append(slices.Clone(list), o)
	return list[max(0, len(list)-keptOpenings):]
}
