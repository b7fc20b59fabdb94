package rules

import (
	"cmp"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/expression"
	"telltale/rules/source"
	"telltale/rules/word"
)

// What the entries of a book say of one another can only be checked once all of them
// are read.

// was checks the earlier names: not in use any more, and each taken over once.
func (l *loader) was() {
	seen := map[string]string{}
	const hint = "`was` lists names that this one alone had before"
	for _, p := range l.book.Parts() {
		for i, was := range p.Was {
			at := source.Items(p.read.f["was"])[i]
			if first, ok := l.names[was]; ok {
				p.read.misnamed(at, hint, "%q was %q, but that name is in use at %s", p.Name, was, first)
			} else if other, ok := seen[was]; ok {
				p.read.misnamed(at, hint, "%q was %q, but %q was that too", p.Name, was, other)
			}
			seen[was] = p.Name
		}
	}
}

// circles refuses tasks whose follow-ups lead back to themselves.
func (l *loader) circles() {
	const open, closed = 1, 2
	mark := map[string]int{}
	var trail []string
	var visit func(t *Task)
	visit = func(t *Task) {
		mark[t.Name] = open
		trail = append(trail, t.Name)
		for _, f := range t.FollowUps {
			next := l.tasks[f.Name]
			switch {
			case next == nil || mark[f.Name] == closed:
			case mark[f.Name] == open:
				circle := append(slices.Clone(trail[slices.Index(trail, f.Name):]), f.Name)
				if f.Name == t.Name {
					t.read.misnamed(followUpKey(t, f.Name), "give it a name of its own", "the follow-up %q has the name of the task that opens it", f.Name)
					continue
				}
				t.read.misnamed(followUpKey(t, f.Name), "a follow-up is done once; leave one out, or give it a name of its own", "the follow-ups go in a circle: %s", strings.Join(circle, " → "))
			default:
				visit(next)
			}
		}
		trail = trail[:len(trail)-1]
		mark[t.Name] = closed
	}
	for _, t := range l.book.Tasks {
		if mark[t.Name] == 0 {
			visit(t)
		}
	}
}

// followUpKey is where the task names the follow-up.
func followUpKey(t *Task, name string) *yaml.Node {
	return cmp.Or(source.Key(t.read.f["follow up"], name), t.read.key)
}

// stood checks what rules ask of others, and says of each after how many others it comes: one
// that asks is judged after those that it asks of.
func (l *loader) stood() {
	byName := map[string]*Rule{}
	for _, r := range l.book.Rules {
		byName[r.Name] = r
	}
	for _, r := range l.book.Rules {
		for _, name := range r.asksOf() {
			if o := byName[name]; o != nil && o.On&OnClock != 0 && r.On&^OnClock != 0 {
				r.read.misnamed(r.read.key, "let it be judged by the clock alone, too", "rule %q asks of %q, which is judged by the clock, so that nobody knows how it stood before", r.Name, name)
			}
		}
	}
	depth := map[string]int{} // of those that were looked at
	for _, r := range l.book.Rules {
		r.Depth = l.depth(r, byName, depth, nil)
		l.book.Deepest = max(l.book.Deepest, r.Depth)
	}
}

// asksOf are the other rules that the rule asks of, sorted.
func (r *Rule) asksOf() []string {
	out := append(r.Asks(word.Stands), r.Asks(word.Stage)...)
	slices.Sort(out)
	return slices.Compact(out)
}

// depth is after how many others the rule comes. trail are those that ask for it: one that
// leads back into it is a circle.
func (l *loader) depth(r *Rule, byName map[string]*Rule, known map[string]int, trail []string) (n int) {
	if n, ok := known[r.Name]; ok {
		return n
	}
	if i := slices.Index(trail, r.Name); i >= 0 {
		circle := append(slices.Clone(trail[i:]), r.Name)
		r.read.misnamed(r.read.key, "let one of them ask the sample itself", "the rules ask of one another in a circle: %s", strings.Join(circle, " → "))
		return 0
	}
	for _, name := range r.asksOf() {
		if o := byName[name]; o != nil {
			n = max(n, 1+l.depth(o, byName, known, append(slices.Clip(trail), r.Name)))
		}
	}
	known[r.Name] = n
	return n
}

// pulledIn checks what rules pull in: tasks of the book, which some vehicle that the
// rule is kept for can have.
func (l *loader) pulledIn() {
	for _, r := range l.book.Rules {
		for _, p := range r.PullIns {
			t := l.tasks[p.Task]
			switch {
			case t == nil:
				r.read.misnamed(p.key, l.DidYouMean(p.Task, l.lang.Tasks, "name a task of this book"), "rule %q pulls in %q, which is not a task", r.Name, p.Task)
			case t.Reported:
				r.read.misnamed(p.key, "let the rule open a follow-up", "rule %q pulls in %q, which is due when somebody reports it, and has no point to move", r.Name, p.Task)
			case !r.unsound() && !t.unsound() && expression.NewSearch().Apart(r.Where, t.Where):
				r.read.misnamed(p.key, "compare the two `where`", "rule %q pulls in %q, but no vehicle or component matches both", r.Name, p.Task)
			}
		}
	}
}

// contained checks what tasks contain and tells each which ones it is part of.
func (l *loader) contained() {
	larger := map[string][]string{} // of a task, those that name it
	for _, t := range l.book.Tasks {
		for _, n := range smaller(t) {
			if l.tasks[n.Value] == nil {
				t.read.misnamed(n, "name a task of this book", "task %q contains %q, which is not a task", t.Name, n.Value)
				continue
			}
			larger[n.Value] = append(larger[n.Value], t.Name)
		}
		larger[t.Name] = append(larger[t.Name], t.Over...) // work written down by the other's name
	}
	for _, t := range l.book.Tasks {
		t.In = enclosing(larger, t.Name)
		if slices.Contains(t.In, t.Name) {
			l.circle(t)
		}
		for _, name := range t.In {
			if of := l.tasks[name]; of != nil {
				t.In = joined(t.In, of.Was)
			}
		}
	}
}

// smaller are the names of the tasks that are done with this one, where they stand.
func smaller(t *Task) []*yaml.Node {
	return slices.DeleteFunc(slices.Clone(source.Items(t.read.f["contains"])), func(n *yaml.Node) bool { return n.Kind != yaml.ScalarNode })
}

// enclosing lists the tasks that contain one, directly or through others.
func enclosing(larger map[string][]string, name string) []string {
	var out []string
	for next := slices.Clone(larger[name]); len(next) > 0; next = next[1:] {
		if !slices.Contains(out, next[0]) {
			out = append(out, next[0])
			next = append(next, larger[next[0]]...)
		}
	}
	slices.Sort(out)
	return out
}

// circle complains of a task that is part of itself, where it names another of its
// circle.
func (l *loader) circle(t *Task) {
	for _, n := range smaller(t) {
		if n.Value == t.Name || slices.Contains(t.In, n.Value) {
			t.read.misnamed(n, "a larger task contains a smaller one, not the other way round as well", "task %q contains itself, by way of %s", t.Name, strings.Join(t.In, ", "))
			return
		}
	}
}
