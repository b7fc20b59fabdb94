package fit

import (
	"cmp"
	"fmt"
	"slices"

	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/word"
)

// Faults are the pairs of which only one may match, and of which both match a component of
// the register: two baselines, and two tasks that take one task's place. The rules alone
// show most of them, but not all.
func Faults(book *rules.Book, reg *Register) source.Faults {
	found := clashes{at: map[clash]int{}}
	finder := applies.NewFinder(book)
	for _, v := range reg.vehicles() {
		for i, pair := range finder.Rivals(&v.of, v.comps) {
			if pair[1] != nil {
				found.add(clash{&pair[0].Part, &pair[1].Part, ""}, v.comps[i].Name+" of "+v.key)
			}
		}
		applied := finder.To(&v.of, v.comps)
		for _, t := range applied.Tasks {
			for _, twin := range applied.Twins[t] {
				where := v.key
				if t.Component >= 0 {
					where = v.comps[t.Component].Name + " of " + v.key
				}
				found.add(clash{&t.Task.Part, &twin.Part, t.Task.SharedOver(twin)}, where)
			}
		}
	}
	return found.faults()
}

// clash is a pair, in order of place, and the task whose place both take.
type clash struct {
	first, second *rules.Part
	over          string
}

type clashes struct {
	at    map[clash]int
	list  []clash
	where [][]use
}

func (c *clashes) add(of clash, where string) {
	if of.first.At.Compare(of.second.At) > 0 {
		return // tasks come both ways round; baselines have their own order
	}
	i, ok := c.at[of]
	if !ok {
		i = len(c.list)
		c.at[of], c.list, c.where = i, append(c.list, of), append(c.where, nil)
	}
	c.where[i] = append(c.where[i], use{words: where})
}

func (c *clashes) faults() source.Faults {
	var out source.Faults
	for i, of := range c.list {
		a, b := of.first, of.second
		text := fmt.Sprintf("baselines %q (%s) and %q both match %s", a.Name, a.At, b.Name, and(c.where[i]))
		over := a.Name
		if of.over != "" {
			text = fmt.Sprintf("tasks %q (%s) and %q are both `over` %q, and both match %s", a.Name, a.At, b.Name, of.over, and(c.where[i]))
			over = "[" + a.Name + ", " + of.over + "]"
		}
		out = append(out, source.Fault{Place: b.At, Width: 1, Text: text, Hint: "narrow one `where`, or write `over: " + over + "` in the one that goes first"})
	}
	return out.Sorted()
}

// capacities asks for those that a `where` cannot be answered without.
func (r *reader) capacities() {
	for i := range r.vehicles {
		v := &r.vehicles[i]
		for j := range v.comps {
			var by []string
			for _, p := range r.book.Parts() {
				if p.PerComponent && p.Where != nil {
					if _, missing := r.judge.Matches(p.Where, &v.of, &v.comps[j]); missing != nil {
						by = append(by, fmt.Sprintf("%q", p.Name))
					}
				}
			}
			if len(by) == 0 {
				continue
			}
			c := v.comps[j].Name
			r.ask(use{keys: []string{"vehicles", v.key, "components", c}}, "give it its own, as `capacity: 6 L`",
				"%s of %s has no capacity, so that nobody can tell whether %s %s to it", c, v.key, english.List("and", firstOf(by)), apply(by))
		}
	}
}

func apply(by []string) string {
	if len(by) == 1 {
		return "applies"
	}
	return "apply"
}

// firstOf are the first few of a list, and how many others there are.
func firstOf(list []string) []string {
	const most = 3
	if n := len(list) - most; n > 0 {
		return append(slices.Clone(list[:most]), english.Plural(n, "other"))
	}
	return list
}

// meters asks about vehicles with two meters of a kind where work goes by that kind: the
// one that stands first counts, unless somebody says otherwise.
func (r *reader) meters() {
	for i := range r.vehicles {
		v := &r.vehicles[i]
		for _, kind := range [...]string{"distance", "hours"} {
			r.metersOf(v, kind)
		}
	}
}

// byMeter are the words that are answered by a meter of a kind.
var byMeter = map[string][]word.Word{
	"distance": {word.Odometer, word.PerDay, word.Since, word.DueIn},
	"hours":    {word.Hours, word.HoursSince},
}

func (r *reader) metersOf(v *vehicle, kind string) {
	first, by := "", []string{}
	var meters []string
	goesBy := func(name string, component int) {
		if list := v.metersFor(component, kind); len(list) > 1 {
			first, meters = cmp.Or(first, list[0]), list
			by = append(by, fmt.Sprintf("%q", name))
		}
	}
	applied := r.finder.To(&v.of, v.comps)
	for _, t := range applied.Tasks {
		if kind == "hours" && t.Task.Every.Hours > 0 || kind == "distance" && t.Task.Every.Distance > 0 {
			goesBy(t.Task.Name, t.Component)
		}
	}
	for _, a := range applied.Rules {
		if slices.ContainsFunc(byMeter[kind], func(w word.Word) bool { return len(a.Rule.Asks(w)) > 0 }) {
			goesBy(a.Rule.Name, a.Component)
		}
	}
	slices.Sort(by)
	if by = slices.Compact(by); len(by) == 0 {
		return
	}
	r.ask(use{keys: []string{"vehicles", v.key, "meters"}},
		fmt.Sprintf("put the one that counts first, name it at the component (`meters: [%s]`), or in the task (`every: {%s: …, of: %s}`)", first, kind, first),
		"%s has %s, and %s %s by the first: %s", v.key, english.List("and", meters), english.List("and", firstOf(by)), goes(by), first)
}

func goes(by []string) string {
	if len(by) == 1 {
		return "goes"
	}
	return "go"
}

// metersFor are the meters of a kind that count for a component (-1: the vehicle), the one
// that is taken first.
func (v *vehicle) metersFor(component int, kind string) (out []string) {
	var named []string
	if component >= 0 {
		named = v.reg.Components[component].Meters
	}
	for _, m := range v.reg.Meters {
		if m.Kind == kind && (len(named) == 0 || slices.Contains(named, m.Name)) {
			out = append(out, m.Name)
		}
	}
	return out
}
