package applies

import (
	"fmt"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/word"
)

// matching are the baselines that match a component or may match it, in the book's order:
// one that goes over others stands before them. lacks says what the `where` of the others
// cannot be answered without.
func (f *Finder) matching(v *word.Vehicle, c *word.Component) (match []*rules.Baseline, lacks map[*rules.Baseline]string) {
	for _, bl := range f.book.Baselines {
		if !bl.PerComponent {
			continue // of what is measured by hand
		}
		ok, missing := f.judge.Matches(bl.Where, v, c)
		switch {
		case missing != nil:
			if lacks == nil {
				lacks = map[*rules.Baseline]string{}
			}
			lacks[bl] = strings.Join(missing, ", ")
		case !ok:
			continue
		}
		match = append(match, bl)
	}
	return match, lacks
}

// sorted are the baselines that count, and those that have starting figures.
func sorted(list []*rules.Baseline) (own, starting []*rules.Baseline) {
	for _, bl := range list {
		if bl.Starting {
			starting = append(starting, bl)
		} else {
			own = append(own, bl)
		}
	}
	return own, starting
}

// Rivals are, by component, two baselines that both match it and could both count, in order
// of place; nil where there are none.
func (f *Finder) Rivals(v *word.Vehicle, comps []word.Component) [][2]*rules.Baseline {
	out := make([][2]*rules.Baseline, len(comps))
	for i := range comps {
		match, lacks := f.matching(v, &comps[i])
		own, starting := sorted(slices.DeleteFunc(match, func(bl *rules.Baseline) bool { return lacks[bl] != "" }))
		for _, list := range [][]*rules.Baseline{starting, own} {
			if x, y := rivals(list); y != nil {
				out[i] = [2]*rules.Baseline{x, y}
				if x.At.Compare(y.At) > 0 {
					out[i] = [2]*rules.Baseline{y, x}
				}
			}
		}
	}
	return out
}

// choose chooses among them for a component, in the book's order, so that no name decides:
// where two could count, none does.
func (a *Parts) choose(comp int, match []*rules.Baseline, lacks map[*rules.Baseline]string) {
	own, starting := sorted(match)
	if a.Clash[comp] = clash(own, lacks); a.Clash[comp] == "" {
		a.Clash[comp] = clash(starting, lacks)
	}
	if a.Clash[comp] != "" {
		return
	}
	if len(starting) > 0 {
		a.Starting[comp] = starting[0]
	}
	if len(own) > 0 {
		a.Baselines[comp] = own[0]
		if i := slices.IndexFunc(own, func(bl *rules.Baseline) bool { return bl.Fleet == nil }); i > 0 {
			a.Instead[comp] = own[i]
		}
	}
}

// clash says why none of these baselines counts; "" where the first does. Nobody knows of
// one that lacks something whether it matches.
func clash(list []*rules.Baseline, lacks map[*rules.Baseline]string) string {
	a, b := rivals(list)
	if b == nil && len(list) > 0 {
		a, b = list[0], list[0]
	}
	for _, bl := range []*rules.Baseline{a, b} {
		if lacks[bl] != "" {
			return fmt.Sprintf("%s, which the `where` of baseline %q asks for", lacks[bl], bl.Name)
		}
	}
	if a == b {
		return ""
	}
	return fmt.Sprintf("which baseline counts, as baselines %q and %q both match", min(a.Name, b.Name), max(a.Name, b.Name))
}

// rivals are two that could both count, since neither goes over the other; nil where one
// counts before the rest. Those that it goes over count only where the fleet does not say.
func rivals(list []*rules.Baseline) (a, b *rules.Baseline) {
	for i, a := range list {
		for _, b := range list[i+1:] {
			if !slices.Contains(a.Over, b.Name) {
				return a, b
			}
		}
		if a.Fleet == nil {
			break
		}
	}
	return nil, nil
}
