// Package applies finds what of a rule book applies to a vehicle: its tasks and rules, each on
// the vehicle or on a component, and the baselines of its components. It runs each `where`
// and settles which part takes another's place.
package applies

import (
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/expression"
	"telltale/rules/word"
)

// Parts are the parts of a book that apply to one vehicle.
type Parts struct {
	Tasks     []Task
	Rules     []Rule
	Baselines []*rules.Baseline // by component; nil where none applies
	// Instead is, by component, the next that matches and holds figures of its own:
	// it counts where one made from the fleet does not say. nil where there is none.
	Instead []*rules.Baseline
	// Starting is, by component, the one with starting figures, nil where there is none.
	Starting []*rules.Baseline
	// Clash says, by component, why no baseline counts where two match and neither goes over
	// the other, or where one cannot be told to match; "" where there is nothing of that.
	// The check finds most such pairs, not all.
	Clash []string
	// Lacking says of a rule that is listed, by component, what its `where` cannot be
	// answered without: nobody knows whether it applies. A task like that is not listed.
	Lacking map[Rule][]string
	// Twins are, of a task that takes the place of another, the tasks that take the same
	// one: it is one work, so that doing either does both. The check finds them.
	Twins map[Task][]*rules.Task
	// Measures are the baselines of what is measured by hand on the vehicle, in the book's
	// order; the first that has a mean counts.
	Measures []*rules.Baseline
}

// Task is a task of a component, by its index, or of the vehicle (-1).
type Task struct {
	Task      *rules.Task
	Component int
}

// Rule is a rule on a component, by its index, or on the vehicle (-1).
type Rule struct {
	Rule      *rules.Rule
	Component int
}

// Finder finds what of one book applies. It keeps what it found for vehicles that are
// alike, so use one a worker; it is not safe for concurrent use.
type Finder struct {
	book      *rules.Book
	judge     *rules.Judge
	signature signature
	kept      map[string]*Parts // by signature
	key       []byte            // room for the signature asked for
	order     []int             // and for the order of components
}

// NewFinder returns a Finder for the book.
func NewFinder(b *rules.Book) *Finder {
	return &Finder{book: b, judge: rules.NewJudge(b), signature: sign(b)}
}

// To resolves every `where` of the book for a vehicle: what applies to it, by
// name, then by component name. The answer holds until the vehicle or its
// components change; it is shared with vehicles that are alike in what any
// `where` reads, and must not be changed.
func (f *Finder) To(v *word.Vehicle, comps []word.Component) *Parts {
	f.order = f.order[:0]
	for i := range comps {
		f.order = append(f.order, i)
	}
	slices.SortStableFunc(f.order, func(a, b int) int { return strings.Compare(comps[a].Name, comps[b].Name) })
	f.key = f.signature.write(f.key[:0], v, comps, f.order)
	if a := f.kept[string(f.key)]; a != nil {
		return a
	}
	a := f.resolve(v, comps)
	if f.kept == nil || len(f.kept) >= keptSignatures {
		f.kept = map[string]*Parts{}
	}
	f.kept[string(f.key)] = a
	return a
}

// resolve runs every `where` for a vehicle, its components in order of name.
func (f *Finder) resolve(v *word.Vehicle, comps []word.Component) *Parts {
	each := func(perComponent bool, where *expression.Condition, add func(i int, lacks []string)) {
		if !perComponent {
			if ok, lacks := f.judge.Matches(where, v, nil); ok || lacks != nil {
				add(-1, lacks)
			}
			return
		}
		for _, i := range f.order {
			if ok, lacks := f.judge.Matches(where, v, &comps[i]); ok || lacks != nil {
				add(i, lacks)
			}
		}
	}
	out := &Parts{Baselines: make([]*rules.Baseline, len(comps)), Instead: make([]*rules.Baseline, len(comps)),
		Starting: make([]*rules.Baseline, len(comps)), Clash: make([]string, len(comps))}
	for _, t := range f.book.Tasks {
		if len(t.ToFill) > 0 {
			continue
		}
		each(t.PerComponent, t.Where, func(i int, lacks []string) {
			if lacks == nil {
				out.Tasks = append(out.Tasks, Task{t, i})
			}
		})
	}
	for _, r := range f.book.Rules {
		each(r.PerComponent, r.Where, func(i int, lacks []string) {
			out.Rules = append(out.Rules, Rule{r, i})
			if lacks != nil {
				out.lack(Rule{r, i}, lacks)
			}
		})
	}
	out.yield()
	for _, bl := range f.book.Baselines {
		if ok, lacks := f.judge.Matches(bl.Where, v, nil); ok && lacks == nil && !bl.PerComponent {
			out.Measures = append(out.Measures, bl)
		}
	}
	out.pair()
	for i := range comps {
		match, lacks := f.matching(v, &comps[i])
		out.choose(i, match, lacks)
	}
	return out
}

func (a *Parts) lack(r Rule, lacks []string) {
	if a.Lacking == nil {
		a.Lacking = map[Rule][]string{}
	}
	a.Lacking[r] = lacks
}

// yield takes out what another that applies in the same place goes over. A rule that is
// not judged, for want of a figure to fill in or of what its `where` asks, takes no
// other's place.
func (a *Parts) yield() {
	type place struct {
		name      string
		component int
	}
	taken := map[place]bool{}
	for _, t := range a.Tasks {
		for _, name := range t.Task.Over {
			taken[place{name, t.Component}] = true
		}
	}
	for _, r := range a.Rules {
		if len(r.Rule.ToFill) > 0 || a.Lacking[r] != nil {
			continue
		}
		for _, name := range r.Rule.Over {
			taken[place{name, r.Component}] = true
		}
	}
	if len(taken) == 0 {
		return
	}
	a.Tasks = slices.DeleteFunc(a.Tasks, func(t Task) bool { return taken[place{t.Task.Name, t.Component}] })
	a.Rules = slices.DeleteFunc(a.Rules, func(r Rule) bool { return taken[place{r.Rule.Name, r.Component}] })
}

// pair finds the tasks that take one task's place in one place, though neither goes over
// the other.
func (a *Parts) pair() {
	for _, t := range a.Tasks {
		if len(t.Task.Over) == 0 {
			continue
		}
		for _, o := range a.Tasks {
			if o.Task == t.Task || o.Component != t.Component || t.Task.SharedOver(o.Task) == "" {
				continue
			}
			if a.Twins == nil {
				a.Twins = map[Task][]*rules.Task{}
			}
			a.Twins[t] = append(a.Twins[t], o.Task)
		}
	}
}
