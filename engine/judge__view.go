package engine

import (
	"slices"
	"telltale/engine/interval"
	"telltale/rules"
	"time"
)

// law is what vehicles are judged by: the rule book in force and the clock.
type law struct {
	Book *rules.Book // nil before the first
	// Judge runs the book's rules, Shorten its tasks' factors: a rule that asks for a
	// due point has the first one busy.
	Judge, Shorten *rules.Judge
	Now            time.Time // the last tick; zero before the first
}

// view is what a record says by a law at a moment. It reads, and changes nothing but
// what it keeps of its own answers.
type view struct {
	*law
	rec  *Record   // of which it may derive the chains
	when time.Time // of what follows from it
	kept *applied
	// lines are the components' histories, dones room for what tasks count from, shared
	// the facts that rules are stepped by, most of them at one place.
	lines  []madeLine
	dones  []interval.Done
	shared *facts
	// shortening: a task's factor is being asked for.
	shortening bool
}

// newView reads a record as of the clock. kept is what of the book applies to the
// vehicle, nil where that has not been asked yet. What the view derives it keeps to
// itself.
func newView(l *law, rec Record, kept *applied) *view {
	return &view{law: l, rec: &rec, when: l.Now, kept: kept}
}

// bookHash names the book in force; "" before the first.
func (l *law) bookHash() string {
	if l.Book == nil {
		return ""
	}
	return l.Book.Hash
}

// knowsTask reports whether the book in force has a task or a follow-up of that name.
func (l *law) knowsTask(name string) bool {
	opens := func(list []rules.FollowUp) bool {
		return slices.ContainsFunc(list, func(fu rules.FollowUp) bool { return fu.Name == name })
	}
	return slices.ContainsFunc(l.Book.Tasks, func(t *rules.Task) bool { return t.Name == name || t.Was == name || opens(t.FollowUps) }) ||
		slices.ContainsFunc(l.Book.Rules, func(r *rules.Rule) bool { return opens(r.FollowUps) })
}
