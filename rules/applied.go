package rules

import (
	"encoding/binary"
	"math"
	"slices"
	"strings"

	"telltale/rules/expression"
	"telltale/rules/word"
)

// Applied are the parts of a book that apply to one vehicle.
type Applied struct {
	Tasks     []AppliedTask
	Rules     []AppliedRule
	Baselines []*Baseline // by component; nil where none applies
	// Instead is, by component, the next that matches and holds figures of its own:
	// it counts where one made from the fleet does not say. nil where there is none.
	Instead []*Baseline
	// Starting is, by component, the one with starting figures, nil where there is none.
	Starting []*Baseline
	// Clash says, by component, why no baseline counts where two match and neither goes over
	// the other, or where one cannot be told to match; "" where there is nothing of that.
	// The check finds most such pairs, not all.
	Clash []string
	// Lacking says of a rule that is listed, by component, what its `where` cannot be
	// answered without: nobody knows whether it applies. A task like that is not listed.
	Lacking map[AppliedRule][]string
	// Twins are, of a task that takes the place of another, the tasks that take the same
	// one: it is one work, so that doing either does both. The check finds them.
	Twins map[AppliedTask][]*Task
	// Measures are the baselines of what is measured by hand on the vehicle, in the book's
	// order; the first that has a mean counts.
	Measures []*Baseline
}

// AppliedTask is a task of a component, by its index, or of the vehicle (-1).
type AppliedTask struct {
	Task      *Task
	Component int
}

// AppliedRule is a rule on a component, by its index, or on the vehicle (-1).
type AppliedRule struct {
	Rule      *Rule
	Component int
}

// For resolves every `where` of the book for a vehicle: what applies to it, by
// name, then by component name. The answer holds until the book, the vehicle or
// its components change; it is shared with vehicles that are alike in what any
// `where` reads, and must not be changed.
func (b *Book) For(j *Judge, v *word.Vehicle, comps []word.Component) *Applied {
	j.order = j.order[:0]
	for i := range comps {
		j.order = append(j.order, i)
	}
	slices.SortStableFunc(j.order, func(a, b int) int { return strings.Compare(comps[a].Name, comps[b].Name) })
	j.key = b.signature.write(j.key[:0], v, comps, j.order)
	if a := j.applied[string(j.key)]; a != nil {
		return a
	}
	a := b.resolve(j, v, comps, j.order)
	if j.applied == nil || len(j.applied) >= keptSignatures {
		j.applied = map[string]*Applied{}
	}
	j.applied[string(j.key)] = a
	return a
}

// resolve runs every `where` for a vehicle of which the components are in that
// order by name.
func (b *Book) resolve(j *Judge, v *word.Vehicle, comps []word.Component, order []int) *Applied {
	each := func(perComponent bool, where *expression.Condition, add func(i int, lacks []string)) {
		if !perComponent {
			if ok, lacks := j.Matches(where, v, nil); ok || lacks != nil {
				add(-1, lacks)
			}
			return
		}
		for _, i := range order {
			if ok, lacks := j.Matches(where, v, &comps[i]); ok || lacks != nil {
				add(i, lacks)
			}
		}
	}
	out := &Applied{Baselines: make([]*Baseline, len(comps)), Instead: make([]*Baseline, len(comps)),
		Starting: make([]*Baseline, len(comps)), Clash: make([]string, len(comps))}
	for _, t := range b.Tasks {
		if len(t.ToFill) > 0 {
			continue
		}
		each(t.PerComponent, t.Where, func(i int, lacks []string) {
			if lacks == nil {
				out.Tasks = append(out.Tasks, AppliedTask{t, i})
			}
		})
	}
	for _, r := range b.Rules {
		each(r.PerComponent, r.Where, func(i int, lacks []string) {
			out.Rules = append(out.Rules, AppliedRule{r, i})
			if lacks != nil {
				out.lack(AppliedRule{r, i}, lacks)
			}
		})
	}
	out.yield()
	for _, bl := range b.Baselines {
		if ok, lacks := j.Matches(bl.Where, v, nil); ok && lacks == nil && !bl.PerComponent {
			out.Measures = append(out.Measures, bl)
		}
	}
	out.pair()
	for i := range comps {
		match, lacks := b.matching(j, v, &comps[i])
		out.choose(i, match, lacks)
	}
	return out
}

func (a *Applied) lack(r AppliedRule, lacks []string) {
	if a.Lacking == nil {
		a.Lacking = map[AppliedRule][]string{}
	}
	a.Lacking[r] = lacks
}

// yield takes out what another that applies in the same place goes over. A rule that is
// not judged, for want of a figure to fill in or of what its `where` asks, takes no
// other's place.
func (a *Applied) yield() {
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
	a.Tasks = slices.DeleteFunc(a.Tasks, func(t AppliedTask) bool { return taken[place{t.Task.Name, t.Component}] })
	a.Rules = slices.DeleteFunc(a.Rules, func(r AppliedRule) bool { return taken[place{r.Rule.Name, r.Component}] })
}

// pair finds the tasks that take one task's place in one place, though neither goes over
// the other.
func (a *Applied) pair() {
	for _, t := range a.Tasks {
		if len(t.Task.Over) == 0 {
			continue
		}
		for _, o := range a.Tasks {
			if o.Task == t.Task || o.Component != t.Component || t.Task.SharedOver(o.Task) == "" {
				continue
			}
			if a.Twins == nil {
				a.Twins = map[AppliedTask][]*Task{}
			}
			a.Twins[t] = append(a.Twins[t], o.Task)
		}
	}
}

// SharedOver is a task whose place both take; "" where there is none.
func (t *Task) SharedOver(o *Task) string {
	i := slices.IndexFunc(t.Over, func(name string) bool { return slices.Contains(o.Over, name) })
	if i < 0 {
		return ""
	}
	return t.Over[i]
}

// signature is what the wheres of a book read: of two vehicles in which that is the
// same, the same parts of the book apply.
type signature struct {
	vehicle   []func(*word.Vehicle, *word.Component) string
	component []func(*word.Vehicle, *word.Component) string
	capacity  bool
}

// keptSignatures bounds the lists that a Judge keeps for vehicles that are alike. A
// `where` that reads the vehicle's name makes each vehicle unlike all others.
const keptSignatures = 1024

func (b *Book) sign() {
	var fields []string
	for _, p := range b.Parts() {
		if p.Where != nil {
			fields = append(fields, p.Where.Fields...)
		}
	}
	slices.Sort(fields)
	b.signature = signature{}
	for _, f := range slices.Compact(fields) {
		switch {
		case f == "component.capacity":
			b.signature.capacity = true
		case strings.HasPrefix(f, "component."):
			b.signature.component = append(b.signature.component, word.Field(f))
		default:
			b.signature.vehicle = append(b.signature.vehicle, word.Field(f))
		}
	}
}

// write appends what of the vehicle and its components is read, each text with its
// length, and the components' order by name, since it is that of the answer.
func (s *signature) write(to []byte, v *word.Vehicle, comps []word.Component, order []int) []byte {
	text := func(s string) {
		to = binary.AppendUvarint(to, uint64(len(s)))
		to = append(to, s...)
	}
	for _, read := range s.vehicle {
		text(read(v, nil))
	}
	to = binary.AppendUvarint(to, uint64(len(order)))
	for _, i := range order {
		to = binary.AppendUvarint(to, uint64(i))
	}
	for i := range comps {
		for _, read := range s.component {
			text(read(nil, &comps[i]))
		}
		if s.capacity {
			to = binary.LittleEndian.AppendUint64(to, math.Float64bits(comps[i].Capacity))
		}
	}
	return to
}
