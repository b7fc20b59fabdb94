package rules

import (
	"maps"
	"slices"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/rules/dataalarm"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// Case is an example that a rule file carries: what happens, and the transitions
// that should follow. Running it is not the language's work.
type Case struct {
	Name  string
	Given []Given
	// Expect are the transitions that should follow, in order of date; none where
	// it is empty.
	Expect []Expect
	// Of are the rules and tasks that the case speaks of, sorted: those of `of`, else
	// those that Expect names. Empty where `expect: none` speaks of all.
	Of []string
	// Baselines stand before those of the book while the case runs, for figures that
	// a book leaves to its user.
	Baselines []*Baseline
	Units     unit.System // of the bare numbers of Given: those of its file, metric ones else
	At        source.Place

	d    *source.Document
	node *yaml.Node // the name
}

// Given is one event in the short form.
type Given struct {
	Text string
	d    *source.Document
	node *yaml.Node
}

// Expect is one transition that should follow: its date in UTC, and what is known of it.
type Expect struct {
	On                 string // YYYY-MM-DD
	Vehicle, Component string // any where empty
	Rule               string // the name of a rule, task, follow-up or data alarm
	To, Transition     string // one at least
}

// Fault says what is wrong with the event, from a character of it on; width 0
// means all of it.
func (g *Given) Fault(from, width int, hint, text string) source.Fault {
	line, col := g.d.At(g.node, from)
	if width == 0 {
		width = len([]rune(g.Text)) - from
	}
	return g.d.FaultAt(line, col, width, hint, text)
}

// Fault says what is wrong with the case as a whole.
func (c *Case) Fault(hint, text string) source.Fault { return c.d.NewFault(c.node, hint, "%s", text) }

// transitionNames are what can become of an alarm.
var transitionNames = []string{"raised", "worsened", "eased", "cleared", "acknowledged", "shelved", "unshelved", "withdrawn"}

// taskStages are the stages of tasks, normal first.
var taskStages = []string{"normal", "soon", "due", "overdue"}

var caseKeys = []string{"given", "expect", "of", "baselines"}

// readCase reads a case; the names of all rules and tasks are known by then.
func (e *entry) readCase() {
	f := e.Mapping(e.n, e.what, caseKeys...)
	doc := *e.Document // whoever runs the case places faults, at any time
	c := &Case{Name: e.key.Value, Units: e.units.Or(unit.Metric), At: e.Place(e.key), d: &doc, node: e.key}
	switch v := f["given"]; {
	case v == nil:
		e.Fault(e.key, "list what happens: `given: [ … ]`", "%s has no `given`", e.what)
	case v.Kind != yaml.SequenceNode || len(v.Content) == 0:
		e.Fault(v, "list what happens, one event an entry", "given of %s must be a list with at least one event", e.what)
	default:
		e.given(c, v.Content)
	}
	switch v := f["expect"]; {
	case v == nil:
		e.Fault(e.key, "list what should follow, or write `expect: none`", "%s has no `expect`", e.what)
	case v.Kind == yaml.ScalarNode && v.Value == "none":
	case v.Kind != yaml.SequenceNode || len(v.Content) == 0:
		e.Fault(v, "list what should follow, or write `expect: none`", "expect of %s must be a list, or none", e.what)
	default:
		for _, n := range v.Content {
			e.expect(c, n)
		}
	}
	for _, x := range c.Expect {
		c.Of = append(c.Of, x.Rule)
	}
	for _, n := range source.Items(f["of"]) {
		c.Of = append(c.Of, e.alarmName(n, "of"))
	}
	slices.Sort(c.Of)
	c.Of = slices.Compact(c.Of)
	if v := f["baselines"]; v != nil {
		for _, p := range e.Entries(v, "baselines of "+e.what) {
			c.Baselines = append(c.Baselines, e.within(p, "baseline").readBaseline())
		}
	}
	slices.SortStableFunc(c.Expect, func(a, b Expect) int { return strings.Compare(a.On, b.On) })
	e.l.book.Cases = append(e.l.book.Cases, c)
}

// In is the book as the case has it: its own baselines stand before the others, and what
// other files put over the parts of its file is left out. A chapter's cases show what the
// chapter says, whatever a fleet puts in its place.
func (c *Case) In(b *Book) *Book {
	book := *b
	above := func(p *Part) bool { return c.puts(b, p) }
	book.Tasks = slices.DeleteFunc(slices.Clone(b.Tasks), func(t *Task) bool { return above(&t.Part) })
	book.Rules = slices.DeleteFunc(slices.Clone(b.Rules), func(r *Rule) bool { return above(&r.Part) })
	book.Baselines = slices.DeleteFunc(slices.Clone(b.Baselines), func(bl *Baseline) bool { return above(&bl.Part) })
	if len(c.Baselines) == 0 && len(book.Parts()) == len(b.Parts()) {
		return b
	}
	var others []string
	for _, o := range b.Baselines {
		others = append(others, o.Name)
	}
	var first []*Baseline
	for _, own := range c.Baselines {
		over := *own
		over.Over = others
		first = append(first, &over)
	}
	book.Baselines = append(first, book.Baselines...)
	return &book
}

// puts reports whether the part stands in another file than the case, and goes over a
// part of its kind in the case's file.
func (c *Case) puts(b *Book, p *Part) bool {
	if p.At.File == c.At.File || len(p.Over) == 0 {
		return false
	}
	return slices.ContainsFunc(b.Parts(), func(o *Part) bool {
		return o.At.File == c.At.File && o != p && slices.Contains(p.Over, o.Name)
	})
}

func (e *entry) given(c *Case, list []*yaml.Node) {
	for _, n := range list {
		if n.Kind != yaml.ScalarNode {
			e.Fault(n, "an event that holds `: `, or begins with `[` or `{`, must be quoted as a whole",
				"an event of a case must be one line of text, not %s", source.KindName(n))
			continue
		}
		c.Given = append(c.Given, Given{Text: n.Value, d: c.d, node: n})
	}
}

// expect reads {on: 2031-04-02, rule: copper over baseline, to: caution}.
func (e *entry) expect(c *Case, n *yaml.Node) {
	const what = "an expected transition"
	before := e.Faulty()
	f := e.Mapping(n, what, "on", "vehicle", "component", "rule", "to", "transition")
	if e.Faulty() > before {
		return
	}
	x := Expect{Vehicle: e.Text(f["vehicle"], "vehicle"), Component: e.Text(f["component"], "component")}
	if v := f["on"]; v == nil {
		e.Fault(n, "write `on: 2031-04-02`", "%s has no date", what)
	} else if _, err := time.Parse(time.DateOnly, v.Value); err != nil {
		e.Fault(v, "write it as 2031-04-02", "%q is not a date", v.Value)
	} else {
		x.On = v.Value
	}
	if v := f["rule"]; v == nil {
		e.Fault(n, "write `rule: ` and the name of a rule or task", "%s has no rule", what)
	} else {
		x.Rule = e.alarmName(v, "rule")
	}
	if v := f["transition"]; v != nil {
		x.Transition = transitionNames[e.Choice(v, "transition", transitionNames...)]
	}
	if v := f["to"]; v != nil {
		stages := e.l.stagesOf(x.Rule)
		x.To = stages[e.Choice(v, "to", stages...)]
	}
	if x.To == "" && x.Transition == "" {
		e.Fault(n, "write `to: caution`, or `transition: cleared`", "%s needs `to` or `transition`", what)
	}
	c.Expect = append(c.Expect, x)
}

// alarmName reads the name of a rule, a task, a follow-up or a data alarm.
func (e *entry) alarmName(n *yaml.Node, what string) string {
	name := e.Text(n, what)
	known := e.l.alarmNames()
	if name == "" || slices.Contains(known, name) {
		return name
	}
	e.Fault(n, e.DidYouMean(name, known, "rules and tasks are named by their keys"), "there is no rule, task or follow-up %q", name)
	return name
}

func (l *loader) alarmNames() []string {
	names := slices.Collect(maps.Keys(l.names))
	for _, t := range l.book.Tasks {
		for _, u := range t.FollowUps {
			names = append(names, u.Name)
		}
	}
	for _, r := range l.book.Rules {
		for _, u := range r.FollowUps {
			names = append(names, u.Name)
		}
	}
	slices.Sort(names)
	return slices.Concat(slices.Compact(names), dataalarm.Names)
}

// stagesOf are the stages that an alarm of that name can have.
func (l *loader) stagesOf(name string) []string {
	isRule := slices.ContainsFunc(l.book.Rules, func(r *Rule) bool { return r.Name == name })
	if isRule || slices.Contains(dataalarm.Names, name) {
		return StageNames[:]
	}
	return taskStages
}
