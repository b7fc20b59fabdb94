package cases

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/source"
)

// unjudged asks about the rules that the case names and that were never judged in it: that
// nothing is raised then shows nothing.
func (r *runner) unjudged() (out source.Faults) {
	for _, name := range r.c.Of {
		i := slices.IndexFunc(r.book.Rules, func(a *rules.Rule) bool { return a.Name == name })
		if i < 0 || len(r.book.Rules[i].ToFill) > 0 {
			continue
		}
		if why, never := r.never(name); never {
			out = append(out, r.c.Fault(why, fmt.Sprintf("rule %q is never judged in case %q, which comes out all the same", name, r.c.Name)))
		}
	}
	return out
}

// never reports whether no judgement of the rule is known of any vehicle of the case, and
// the cure.
func (r *runner) never(name string) (cure string, ok bool) {
	var lacks, apart string
	for _, v := range r.p.Vehicles() {
		for _, w := range r.p.Why(v, name) {
			switch {
			case w.Judged != nil || w.Last != nil:
				return "", false
			case w.NotJudged != nil:
				lacks = cmp.Or(lacks, "it lacks "+english.List("and", w.NotJudged.Missing))
			case w.DoesNotApply != "":
				apart = cmp.Or(apart, strings.TrimSuffix(w.DoesNotApply, "."))
			}
		}
	}
	return cmp.Or(lacks, apart, "report what it is judged on"), true
}

// Misread are the events of a book's cases that cannot be read, which is told of a draft of
// one too.
func Misread(b *rules.Book) (out source.Faults) {
	for _, c := range b.Cases {
		r := runner{book: b, c: c}
		r.read()
		out = append(out, r.faults...)
	}
	return out.Sorted()
}
