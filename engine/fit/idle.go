package fit

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/word"
)

// idle asks about tasks and rules that apply to no vehicle, those of a file with one reason
// in one question.
func (r *reader) idle() {
	type group struct{ file, why, hint string }
	parts := map[group][]*rules.Part{}
	tasks := map[group]int{}
	see := func(p *rules.Part, task bool) {
		if p.Where == nil || r.applies(p) || r.variant(p) {
			return
		}
		why, hint := r.reason(p)
		g := group{p.At.File, why, hint}
		parts[g] = append(parts[g], p)
		if task {
			tasks[g]++
		}
	}
	for _, t := range r.book.Tasks {
		see(&t.Part, true)
	}
	for _, a := range r.book.Rules {
		see(&a.Part, false)
	}
	for g, list := range parts {
		first := slices.MinFunc(list, func(a, b *rules.Part) int { return a.At.Compare(b.At) })
		text := fmt.Sprintf("%s to no vehicle: %s", idleWords(list, tasks[g]), g.why)
		fault := r.slip(first)
		fault.Text, fault.Hint = text, g.hint
		if g.hint == "" {
			r.notes = append(r.notes, fault)
			continue
		}
		r.found = append(r.found, fault)
	}
}

// slip is the fault of a where that lets in nobody: at the text that no vehicle has, with
// the near one that some has as its cure.
func (r *reader) slip(p *rules.Part) source.Fault {
	for _, t := range p.Where.Named.Where {
		have := r.values(t.Field)
		near := r.near(t.Field, t.Text, p.Where.Named.Fields[t.Field], have)
		if !namedBy(t, have) && near != "" && t.Field != "vehicle.name" {
			return atText(t, near)
		}
	}
	return source.Fault{Place: p.Where.At, Width: 1}
}

// namedBy reports whether some of what the register has is what the text names.
func namedBy(t expression.NamedText, have []string) bool {
	return slices.ContainsFunc(have, func(h string) bool { return names([]string{t.Text}, h) })
}

// atText is a fault that marks a text of a where, which an editor may replace by another.
func atText(t expression.NamedText, instead string) source.Fault {
	return source.Fault{Place: t.At, Width: t.Width, Fix: &source.Fix{Line: t.At.Line, Col: t.At.Col + 1, Width: t.Width - 2, Text: instead}}
}

// nobody asks about texts of a where that lets in some vehicle by others of its texts: one
// that no vehicle has, and that is nearly what some has, is as silent as if all were. Of a
// baseline only what no task or rule asks for is a slip of its own.
func (r *reader) nobody() {
	see := func(what string, p *rules.Part) {
		if p.Where == nil || r.variant(p) {
			return
		}
		for _, t := range p.Where.Named.Where {
			asked, have := p.Where.Named.Fields[t.Field], r.values(t.Field)
			near := source.Near(t.Text, have)
			switch {
			case near == "" || names(asked, near) || namedBy(t, have):
				continue
			case what == "baseline" && names(r.askedFor(t.Field).Texts, t.Text):
				continue
			}
			f := atText(t, near)
			f.Text = fmt.Sprintf("%s %q asks for %q, which no vehicle has", what, p.Name, t.Text)
			f.Hint = fmt.Sprintf("the register has %q: which of the two is meant?", near)
			r.found = append(r.found, f)
		}
	}
	for _, t := range r.book.Tasks {
		if r.applies(&t.Part) {
			see("task", &t.Part)
		}
	}
	for _, a := range r.book.Rules {
		if r.applies(&a.Part) {
			see("rule", &a.Part)
		}
	}
	for _, b := range r.book.Baselines {
		see("baseline", &b.Part)
	}
}

// variant reports whether the part goes over another of its own file, as one for fleets
// beside the usual one: that it applies to nobody is no slip, since the other does.
func (r *reader) variant(p *rules.Part) bool {
	return slices.ContainsFunc(p.Over, func(name string) bool { return r.placeOf(name).File == p.At.File })
}

// idleWords names the tasks and rules, the first of the list being tasks, or counts them.
func idleWords(list []*rules.Part, tasks int) string {
	var named []string
	for _, p := range list {
		named = append(named, fmt.Sprintf("%q", p.Name))
	}
	rulesOf := len(list) - tasks
	switch {
	case len(list) == 1 && tasks == 1:
		return "task " + named[0] + " applies"
	case len(list) == 1:
		return "rule " + named[0] + " applies"
	case rulesOf == 0 && tasks < 5:
		return "tasks " + english.List("and", named) + " apply"
	case tasks == 0 && rulesOf < 5:
		return "rules " + english.List("and", named) + " apply"
	case tasks == 0:
		return english.Plural(rulesOf, "rule") + " apply"
	case rulesOf == 0:
		return english.Plural(tasks, "task") + " apply"
	}
	return english.Plural(tasks, "task") + " and " + english.Plural(rulesOf, "rule") + " apply"
}

func (r *reader) applies(p *rules.Part) bool {
	for i := range r.vehicles {
		v := &r.vehicles[i]
		if !p.PerComponent {
			if ok, lacks := r.judge.Matches(p.Where, &v.of, nil); ok || lacks != nil {
				return true
			}
			continue
		}
		for j := range v.comps {
			if ok, lacks := r.judge.Matches(p.Where, &v.of, &v.comps[j]); ok || lacks != nil {
				return true
			}
		}
	}
	return false
}

// reason says which of what a where asks for no vehicle has, and the cure; "" where
// nothing speaks for a slip.
func (r *reader) reason(p *rules.Part) (why, hint string) {
	var whys, hints []string
	for _, field := range slices.Sorted(maps.Keys(p.Where.Named.Fields)) {
		texts := p.Where.Named.Fields[field]
		have := r.values(field)
		if p.Where.Named.Denied || len(texts) == 0 || slices.ContainsFunc(have, func(t string) bool { return names(texts, t) }) {
			continue
		}
		w, h := r.lacking(field, texts, have)
		h = cmp.Or(r.otherwise(field, texts, have), h)
		whys = append(whys, w)
		if h != "" && !slices.Contains(hints, h) {
			hints = append(hints, h)
		}
	}
	if whys == nil {
		return "none matches `" + english.OneLine(p.Where.Text) + "`", ""
	}
	return english.List("and", whys), strings.Join(hints, "; ")
}

// otherwise is the hint that others of the book spell a text of this field otherwise, and
// nearer to it than the register has any.
func (r *reader) otherwise(field string, texts, have []string) string {
	for _, t := range texts {
		if n := r.near(field, t, texts, have); n != "" && !slices.Contains(have, n) {
			return fmt.Sprintf("others of the book ask for %q: which of the two is meant?", n)
		}
	}
	return ""
}

// near is what the register has in the field, or others of the book ask for, that a text
// may be a slip for.
func (r *reader) near(field, text string, texts, have []string) string {
	const short = 6 // letters; of a shorter one anything is near
	all := slices.Clone(have)
	if len(text) >= short {
		all = append(all, slices.DeleteFunc(slices.Clone(r.askedFor(field).Texts), func(t string) bool { return slices.Contains(texts, t) })...)
	}
	return source.Near(text, all)
}

// lacking says that no vehicle has any of the texts in the field, and the cure.
func (r *reader) lacking(field string, texts, have []string) (why, hint string) {
	quoted := quotedOr(texts)
	if tag, ok := strings.CutPrefix(field, "vehicle.tags."); ok {
		if len(have) == 0 {
			return "none has the tag " + tag, fmt.Sprintf("give each vehicle its own in vehicles.yaml, as tags: {%s: %s}", tag, texts[0])
		}
		return "none has the tag " + tag + " as " + quoted, nearest(texts, have)
	}
	switch field {
	case "vehicle.name":
		if i := slices.IndexFunc(r.vehicles, func(v vehicle) bool { return slices.Contains(texts, v.key) }); i >= 0 {
			v := r.vehicles[i]
			return fmt.Sprintf("vehicle.name is the display name, %q, and %q is the key", v.of.Name, v.key), fmt.Sprintf("write vehicle.key == %q", v.key)
		}
		return "none is called " + quoted, cmp.Or(nearest(texts, have), calls(have))
	case "vehicle.kind":
		return "none is of kind " + quoted, nearest(texts, have)
	case "component.kind":
		return "none has a component of kind " + quoted, nearest(texts, have)
	case "component.name":
		return "none has a component called " + quoted, cmp.Or(nearest(texts, have), calls(have))
	}
	return "none has " + strings.TrimPrefix(field, "component.") + " " + quoted, nearest(texts, have)
}

// nearest is the hint that names what the register has and the rule may mean.
func nearest(texts, have []string) string {
	for _, t := range texts {
		if n := source.Near(t, have); n != "" {
			return fmt.Sprintf("the register has %q: which of the two is meant?", n)
		}
	}
	return ""
}

// values are what the register has in a field, sorted.
func (r *reader) values(field string) []string {
	all := map[string]bool{}
	read := word.Field(field)
	for i := range r.vehicles {
		v := &r.vehicles[i]
		if strings.HasPrefix(field, "vehicle.") {
			all[read(&v.of, nil)] = true
			continue
		}
		for j := range v.comps {
			all[read(nil, &v.comps[j])] = true
		}
	}
	delete(all, "")
	return slices.Sorted(maps.Keys(all))
}

func quotedOr(texts []string) string {
	var out []string
	for _, t := range texts {
		out = append(out, fmt.Sprintf("%q", t))
	}
	return english.List("or", out)
}

// tags asks about tags that rules read without any vehicle having one, where no task or
// rule waits for it: they then go by what they do without.
func (r *reader) tags() {
	for _, a := range r.asked {
		tag := a.Tag()
		if tag == "" || len(r.values(a.Field)) > 0 || slices.ContainsFunc(r.wheres(), func(w *expression.Condition) bool {
			return w != nil && slices.Contains(w.Fields, a.Field)
		}) {
			continue
		}
		at := r.placeOf(a.By[0])
		r.found = append(r.found, source.Fault{Place: at, Width: 1, Text: fmt.Sprintf("%q asks for the tag %s, which no vehicle has", a.By[0], tag),
			Hint: "give each vehicle its own in vehicles.yaml, as " + example(a)})
	}
}

func (r *reader) placeOf(name string) source.Place {
	for _, t := range r.book.Tasks {
		if t.Name == name {
			return t.At
		}
	}
	for _, a := range r.book.Rules {
		if a.Name == name {
			return a.At
		}
	}
	return source.Place{}
}

// calls is the hint that says what the register calls its vehicles or components, the
// first eight of them.
func calls(have []string) string {
	if len(have) == 0 {
		return ""
	}
	if n := len(have) - 8; n > 0 {
		have = append(slices.Clone(have[:8]), fmt.Sprintf("%d others", n))
	}
	return "the register calls them " + english.List("and", have)
}
