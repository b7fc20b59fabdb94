package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/source"
)

// Two baselines that match one component give two answers to one question. Which
// of them is the more specific is never guessed: one says `over: other`, or both
// are refused, with a vehicle that both match. A task or a rule that says
// `over: other` takes the other's place wherever both match.

// overs checks which baselines, tasks and rules go before which others, puts the
// baselines in order, those that go before others first, and refuses pairs of
// baselines that can both match. Tasks and rules have names of their own, so that
// two of them never answer one question unless they say so.
func (l *loader) overs() {
	b := l.book
	slices.SortFunc(b.Baselines, func(x, y *Baseline) int { return strings.Compare(x.Name, y.Name) })
	all, tasks, rules := b.Parts(), len(b.Tasks), len(b.Tasks)+len(b.Rules)
	l.inOrder("task", all[:tasks])
	l.inOrder("rule", all[tasks:rules])
	ordered := l.inOrder("baseline", all[rules:])
	place := map[*Part]int{}
	for i, p := range ordered {
		place[p] = i
	}
	slices.SortFunc(b.Baselines, func(x, y *Baseline) int { return place[&x.Part] - place[&y.Part] })
	l.bothMatch()
	l.twins()
}

// inOrder checks the names after `over`, puts each part before those that it goes over
// and lets it know of all of them, by way of others too; it complains where they go in
// a circle, and where they are never in one place.
func (l *loader) inOrder(kind string, parts []*Part) []*Part {
	byName := map[string]*Part{}
	for _, p := range parts {
		byName[p.Name] = p
	}
	names := slices.Sorted(maps.Keys(byName))
	kept := map[bool]string{true: "for each component", false: "once a vehicle"}
	const open, closed = 1, 2
	mark := map[string]int{}
	var out []*Part
	var visit func(p *Part)
	visit = func(p *Part) {
		mark[p.Name] = open
		for i, name := range p.Over {
			at, other := source.Items(p.read.f["over"])[i], byName[name]
			switch {
			case name == p.Name:
				p.read.Fault(at, "", "%s %q cannot be over itself", kind, name)
			case other == nil:
				p.read.Fault(at, l.DidYouMean(name, names, "name another "+kind+" of the book"), "there is no %s %q", kind, name)
			case mark[name] == open:
				p.read.Fault(at, "leave one of them out", "%ss %q and %q are each `over` the other", kind, p.Name, name)
			case mark[name] == 0:
				visit(other)
			}
			if other != nil && other.PerComponent != p.PerComponent && !p.unsound() && !other.unsound() {
				p.read.Fault(at, "let both read `component`, or neither",
					"%s %q is kept %s, but %q, which it is `over`, is kept %s", kind, p.Name, kept[p.PerComponent], name, kept[other.PerComponent])
			}
		}
		for _, name := range slices.Clone(p.Over) {
			if other := byName[name]; other != nil {
				p.Over = joined(p.Over, other.Over)
			}
		}
		mark[p.Name] = closed
		out = append(out, p)
	}
	for _, p := range slices.Backward(parts) {
		if mark[p.Name] == 0 {
			visit(p)
		}
	}
	slices.Reverse(out)
	return out
}

// unsound reports whether something is wrong with the part, so that what it matches, and
// for whom it is kept, is not known.
func (p *Part) unsound() bool { return p.read.faulty }

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

// twins asks about tasks that take one task's place, where a vehicle is found that both
// match: which of the two is meant there nobody says. With a register that has one such
// the check refuses them.
func (l *loader) twins() {
	search := expression.NewSearch()
	for i, a := range l.book.Tasks {
		for _, b := range l.book.Tasks[i+1:] {
			over := a.SharedOver(b)
			if over == "" || slices.Contains(a.Over, b.Name) || slices.Contains(b.Over, a.Name) || a.unsound() || b.unsound() || a.PerComponent != b.PerComponent {
				continue
			}
			if example, found := search.Both(a.Where, b.Where); found {
				first, second := a, b
				if a.At.Compare(b.At) > 0 {
					first, second = b, a
				}
				second.read.question(second.read.key, fmt.Sprintf("narrow one `where`, or write `over: [%s, %s]` in the one that goes first", first.Name, over),
					"tasks %q (%s) and %q are both `over` %q, and both match %s", first.Name, first.At, second.Name, over, example)
			}
		}
	}
}

// bothMatch refuses pairs of baselines of which neither goes before the other,
// where a vehicle is found that both match.
func (l *loader) bothMatch() {
	list := l.book.Baselines
	search := expression.NewSearch()
	var open *Baseline // at which the search had no more time
	for i, a := range list {
		for _, b := range list[i+1:] {
			if slices.Contains(a.Over, b.Name) || a.Starting != b.Starting || a.PerComponent != b.PerComponent || a.unsound() || b.unsound() {
				continue
			}
			if example, found := search.Both(a.Where, b.Where); found {
				first, second := a, b
				if a.At.Compare(b.At) > 0 {
					first, second = b, a
				}
				second.read.Fault(second.read.key, fmt.Sprintf("narrow one `where`, or write `over: %s` in the one that goes first", first.Name),
					"baselines %q (%s) and %q both match %s", first.Name, first.At, second.Name, example)
			} else if search.Open == 1 && open == nil {
				open = b
			}
		}
	}
	if open != nil {
		open.read.question(open.read.key, "narrow each `where` by the component's kind; `telltale check` with a register tries every component of it all the same",
			"the baselines are too many to compare each with each: from %q on, %s were not compared to the end", open.Name, english.Plural(search.Open, "pair"))
	}
}
