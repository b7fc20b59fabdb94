package fit

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/word"
)

// use is where in the register a text is used: the keys that lead there.
type use struct {
	keys  []string
	words string // "engine of van-1"
}

// componentKinds asks about kinds of components that no task or rule asks for: nothing is
// ever due on such a one.
func (r *reader) componentKinds() {
	asked := r.askedFor("component.kind")
	if len(asked.Texts) == 0 {
		return
	}
	uses, elsewhere := map[string][]use{}, r.elsewhere()
	for i := range r.vehicles {
		v := &r.vehicles[i]
		for j, c := range v.comps {
			if !names(asked.Texts, c.Kind) && !names(elsewhere, c.Kind) && !slices.Contains(elsewhere, c.Name) && !r.kindMatters(v, j) {
				uses[c.Kind] = append(uses[c.Kind], use{[]string{"vehicles", v.key, "components", c.Name, "kind"}, c.Name + " of " + v.key})
			}
		}
	}
	for _, kind := range slices.Sorted(maps.Keys(uses)) {
		first := uses[kind][0]
		r.ask(first, near(kind, asked.Texts, "the rules ask for "+english.List("and", otherNames(asked.Texts))),
			"no task or rule asks for a component of kind %q: %s", kind, and(uses[kind]))
	}
}

// elsewhere are the names and kinds of other components that rules ask of.
func (r *reader) elsewhere() (out []string) {
	for _, a := range r.book.Rules {
		out = append(out, a.Elsewhere()...)
	}
	return out
}

// kindMatters reports whether a where that reads the component's kind lets it in, by
// whatever test.
func (r *reader) kindMatters(v *vehicle, component int) bool {
	for _, w := range r.wheres() {
		if w != nil && slices.Contains(w.Fields, "component.kind") {
			if ok, _ := r.judge.Matches(w, &v.of, &v.comps[component]); ok {
				return true
			}
		}
	}
	return false
}

func (r *reader) wheres() (out []*expression.Condition) {
	for _, t := range r.book.Tasks {
		out = append(out, t.Where)
	}
	for _, a := range r.book.Rules {
		out = append(out, a.Where)
	}
	return out
}

// nearMisses asks about kinds of vehicles and values of tags that are nearly what tasks and
// rules ask for. Others are no slip: most tags say more than rules ask.
func (r *reader) nearMisses() {
	for _, asked := range r.asked {
		tag := asked.Tag()
		if tag == "" && asked.Field != "vehicle.kind" {
			continue
		}
		uses := map[string][]use{}
		for _, v := range r.vehicles {
			text, at := word.Field(asked.Field)(&v.of, nil), use{[]string{"vehicles", v.key, "kind"}, v.key}
			if tag != "" {
				at.keys = []string{"vehicles", v.key, "tags", tag}
			}
			if text != "" && !names(asked.Texts, text) && source.Near(text, allNames(asked.Texts)) != "" {
				uses[text] = append(uses[text], at)
			}
		}
		what := "a vehicle of kind"
		if tag != "" {
			what = "the tag " + tag + " as"
		}
		for _, text := range slices.Sorted(maps.Keys(uses)) {
			r.ask(uses[text][0], near(text, asked.Texts, ""), "no task or rule asks for %s %q: %s", what, text, and(uses[text]))
		}
	}
}

// without asks about vehicles to which no task applies at all.
func (r *reader) without() {
	if len(r.book.Tasks) == 0 {
		return
	}
	for i := range r.vehicles {
		v := &r.vehicles[i]
		if len(r.finder.To(&v.of, v.comps).Tasks) == 0 {
			r.ask(use{keys: []string{"vehicles", v.key}}, "compare its kind, tags and components with `where` of the tasks", "no task applies to %s", v.key)
		}
	}
}

func (r *reader) ask(at use, hint, format string, args ...any) {
	r.found = append(r.found, r.register.at(hint, fmt.Sprintf(format, args...), at.keys...))
}

// and names the first of what uses a text, and how many others do.
func and(uses []use) string {
	switch n := len(uses) - 1; n {
	case 0:
		return uses[0].words
	case 1:
		return uses[0].words + " and " + uses[1].words
	default:
		return fmt.Sprintf("%s and %d others", uses[0].words, n)
	}
}

// near is the hint for a text that is none of those asked for.
func near(text string, asked []string, other string) string {
	if n := source.Near(text, allNames(asked)); n != "" {
		return strings.TrimSuffix("did you mean `"+n+"`? "+other, " ")
	}
	return other
}

// names reports whether any of the texts says the same as text, by whichever name.
func names(texts []string, text string) bool {
	return slices.ContainsFunc(word.Names(text), func(n string) bool { return slices.Contains(texts, n) })
}

// allNames are the texts with every other name for them.
func allNames(texts []string) (out []string) {
	for _, t := range texts {
		for _, n := range word.Names(t) {
			if !slices.Contains(out, n) {
				out = append(out, n)
			}
		}
	}
	return out
}

// otherNames are the texts, each with its other names in brackets.
func otherNames(texts []string) (out []string) {
	for _, t := range texts {
		others := slices.DeleteFunc(slices.Clone(word.Names(t)), func(n string) bool { return n == t })
		if len(others) > 0 {
			t += " (or " + strings.Join(others, ", ") + ")"
		}
		out = append(out, t)
	}
	return out
}
