package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/rules/expression"
	"telltale/rules/source"
)

// Two baselines that match one component give two answers to one question. Which
// of them is the more specific is never guessed: one says `over: other`, or both
// are refused, with a vehicle that both match. A task or a rule that says
// `over: other` takes the other's place wherever both match.

// claim is what may go before others of its kind: a baseline, a task, a rule.
type claim struct {
	kind, name   string
	perComponent bool
	names        []string  // as written
	over         *[]string // the same and, after passOn, all that these go over
	read         *entry
}

// overs checks which baselines, tasks and rules go before which others, puts the
// baselines in order, those that go before others first, and refuses pairs of
// baselines that can both match. Tasks and rules have names of their own, so that
// two of them never answer one question unless they say so.
func (l *loader) overs() {
	byName := map[string]*Baseline{}
	slices.SortFunc(l.book.Baselines, func(a, b *Baseline) int { return strings.Compare(a.Name, b.Name) })
	var baselines, tasks, rules []claim
	for _, b := range l.book.Baselines {
		byName[b.Name] = b
		baselines = append(baselines, claim{"baseline", b.Name, true, b.Over, &b.Over, b.read})
	}
	for _, t := range l.book.Tasks {
		tasks = append(tasks, claim{"task", t.Name, t.PerComponent, t.Over, &t.Over, t.read})
	}
	for _, r := range l.book.Rules {
		rules = append(rules, claim{"rule", r.Name, r.PerComponent, r.Over, &r.Over, r.read})
	}
	l.inOrder(tasks)
	l.inOrder(rules)
	ordered := l.inOrder(baselines)
	if l.Faulty() > 0 {
		return // a condition or a name is missing
	}
	for i, c := range ordered {
		l.book.Baselines[i] = byName[c.name]
	}
	l.bothMatch()
}

// inOrder checks the names after `over` and puts each claim before those that it
// goes over; it complains where they go in a circle.
func (l *loader) inOrder(claims []claim) []claim {
	byName := map[string]*claim{}
	for i := range claims {
		byName[claims[i].name] = &claims[i]
	}
	names := slices.Sorted(maps.Keys(byName))
	const open, closed = 1, 2
	mark := map[string]int{}
	var out []claim
	var visit func(c *claim)
	visit = func(c *claim) {
		mark[c.name] = open
		for i, name := range c.names {
			at := source.Items(c.read.f["over"])[i]
			switch {
			case name == c.name:
				c.read.Fault(at, "", "%s %q goes before itself", c.kind, name)
			case byName[name] == nil:
				c.read.Fault(at, l.DidYouMean(name, names, "name another "+c.kind+" of the book"), "there is no %s %q", c.kind, name)
			case mark[name] == open:
				c.read.Fault(at, "leave one of them out", "%s %q goes before %q, which goes before it", c.kind, c.name, name)
			case mark[name] == 0:
				visit(byName[name])
			}
		}
		mark[c.name] = closed
		out = append(out, *c)
	}
	for i := range slices.Backward(claims) {
		if mark[claims[i].name] == 0 {
			visit(&claims[i])
		}
	}
	slices.Reverse(out)
	l.passOn(out, byName)
	return out
}

// passOn lets each claim know of all that it goes over, by way of others too.
func (l *loader) passOn(order []claim, byName map[string]*claim) {
	for _, c := range slices.Backward(order) {
		for i, name := range c.names {
			if other := byName[name]; other != nil {
				*c.over = joined(*c.over, *other.over)
				l.sameKeeping(c, i, other)
			}
		}
	}
}

// sameKeeping complains of one that is kept for each component and goes over one
// that is kept once a vehicle, or the other way: they are never in one place.
func (l *loader) sameKeeping(c claim, i int, other *claim) {
	if c.perComponent == other.perComponent {
		return
	}
	kept := map[bool]string{true: "for each component", false: "once a vehicle"}
	c.read.Fault(source.Items(c.read.f["over"])[i], "let both read `component`, or neither",
		"%s %q is kept %s, and %q, over which it goes, %s", c.kind, c.name, kept[c.perComponent], other.name, kept[other.perComponent])
}

// joined adds to a list the names that it lacks.
func joined(list, more []string) []string {
	out := slices.Clone(list)
	for _, name := range more {
		if !slices.Contains(out, name) {
			out = append(out, name)
		}
	}
	return out
}

// bothMatch refuses pairs of baselines of which neither goes before the other,
// where a vehicle is found that both match.
func (l *loader) bothMatch() {
	list := l.book.Baselines
	search := expression.NewSearch(l.lang.Units)
	for i, a := range list {
		for _, b := range list[i+1:] {
			if !search.Next() {
				return
			}
			if slices.Contains(a.Over, b.Name) {
				continue
			}
			if example, found := search.Both(a.Where, b.Where); found {
				first, second := a, b
				if a.At.Compare(b.At) > 0 {
					first, second = b, a
				}
				second.read.Fault(second.read.key, fmt.Sprintf("narrow a `where`, or write `over: %s` in the one that goes first", first.Name),
					"baselines %q (%s) and %q both match %s", first.Name, first.At, second.Name, example)
			}
		}
	}
}
