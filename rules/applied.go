package rules

import (
	"cmp"
	"encoding/binary"
	"fmt"
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
	// Clash says, by component, of two that both match though neither goes over the other,
	// what is missing; "" where there are none. The check finds most such pairs, not all.
	Clash []string
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
	each := func(perComponent bool, where *expression.Condition, add func(int)) {
		if !perComponent {
			if ok, _ := j.Matches(where, v, nil); ok {
				add(-1)
			}
			return
		}
		for _, i := range order {
			if ok, _ := j.Matches(where, v, &comps[i]); ok {
				add(i)
			}
		}
	}
	out := &Applied{Baselines: make([]*Baseline, len(comps)), Instead: make([]*Baseline, len(comps)),
		Starting: make([]*Baseline, len(comps)), Clash: make([]string, len(comps))}
	for _, t := range b.Tasks {
		if len(t.ToFill) > 0 {
			continue
		}
		each(t.PerComponent, t.Where, func(i int) { out.Tasks = append(out.Tasks, AppliedTask{t, i}) })
	}
	for _, r := range b.Rules {
		each(r.PerComponent, r.Where, func(i int) { out.Rules = append(out.Rules, AppliedRule{r, i}) })
	}
	out.yield()
	for i := range comps {
		out.baselines(i, slices.DeleteFunc(slices.Clone(b.Baselines), func(bl *Baseline) bool {
			ok, _ := j.Matches(bl.Where, v, &comps[i])
			return !ok
		}))
	}
	return out
}

// baselines chooses among those that match a component, in the book's order: one that
// goes over others stands before them.
func (a *Applied) baselines(comp int, match []*Baseline) {
	a.Clash[comp] = clash(match)
	for _, bl := range match {
		switch first := a.Baselines[comp]; {
		case bl.Starting:
			a.Starting[comp] = cmp.Or(a.Starting[comp], bl)
		case first == nil:
			a.Baselines[comp] = bl
		case first.Fleet != nil && bl.Fleet == nil:
			a.Instead[comp] = cmp.Or(a.Instead[comp], bl)
		}
	}
}

// clash says of two baselines that both match, of which neither goes over the other, that
// one of them is missing. A starting figure gives way to all others.
func clash(match []*Baseline) string {
	for i, a := range match {
		for _, b := range match[i+1:] {
			if a.Starting == b.Starting && !slices.Contains(a.Over, b.Name) {
				names := []string{a.Name, b.Name}
				slices.Sort(names)
				return fmt.Sprintf("one baseline: %q and %q both match, and neither is `over` the other", names[0], names[1])
			}
		}
	}
	return ""
}

// yield takes out what another that applies in the same place goes over. A rule with
// something to fill in judges nothing until then, so it takes no other's place.
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
		if len(r.Rule.ToFill) > 0 {
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
	for _, p := range b.parts() {
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
