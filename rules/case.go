package rules

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"gopkg.in/yaml.v3"
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
	At        Place

	d    *document
	node *yaml.Node // the name
}

// Given is one event in the short form.
type Given struct {
	Text string
	d    *document
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
func (g *Given) Fault(from, width int, hint, text string) Fault {
	line, col := g.d.at(g.node, from)
	if width == 0 {
		width = len([]rune(g.Text)) - from
	}
	return g.d.makeFault(line, col, width, hint, text)
}

// Fault says what is wrong with the case as a whole.
func (c *Case) Fault(hint, text string) Fault {
	return c.d.makeFault(c.node.Line, c.node.Column, c.d.width(c.node), hint, text)
}

// dataAlarms are the names of the alarms on the data itself.
var dataAlarms = []string{"data: implausible reading", "data: meter going back", "data: not their vehicle", "data: results fit another vehicle", "data: silent"}

// transitionNames are what can become of an alarm.
var transitionNames = []string{"raised", "worsened", "eased", "cleared", "acknowledged", "shelved", "unshelved", "withdrawn"}

// taskStages are the stages of tasks, normal first.
var taskStages = []string{"normal", "soon", "due", "overdue"}

// readCase reads a case; the names of all rules and tasks are known by then.
func (d *document) readCase(key, n *yaml.Node) {
	what := fmt.Sprintf("case %q", key.Value)
	f := d.mapping(n, what, "given", "expect", "of", "baselines")
	c := &Case{Name: key.Value, At: d.place(key), d: &document{name: d.name, lines: d.lines}, node: key}
	switch v := f.get("given"); {
	case v == nil:
		d.fault(key, "list what happens: `given: [ … ]`", "%s has no `given`", what)
	case v.Kind != yaml.SequenceNode || len(v.Content) == 0:
		d.fault(v, "list what happens, one event an entry", "given of %s must be a list with at least one event", what)
	default:
		c.given(v.Content, d)
	}
	switch v := f.get("expect"); {
	case v == nil:
		d.fault(key, "list what should follow, or write `expect: none`", "%s has no `expect`", what)
	case v.Kind == yaml.ScalarNode && v.Value == "none":
	case v.Kind != yaml.SequenceNode || len(v.Content) == 0:
		d.fault(v, "list what should follow, or write `expect: none`", "expect of %s must be a list, or none", what)
	default:
		for _, e := range v.Content {
			d.expect(c, e)
		}
	}
	d.caseOf(c, f.get("of"))
	if v := f.get("baselines"); v != nil {
		for _, e := range d.entries(v, "baselines of "+what) {
			c.Baselines = append(c.Baselines, d.readBaseline(e.key, e.value))
		}
	}
	slices.SortStableFunc(c.Expect, func(a, b Expect) int { return strings.Compare(a.On, b.On) })
	d.l.book.Cases = append(d.l.book.Cases, c)
}

// In is the book as the case has it: its own baselines stand before the others.
func (c *Case) In(b *Book) *Book {
	if len(c.Baselines) == 0 {
		return b
	}
	book := *b
	book.Baselines = slices.Concat(c.Baselines, b.Baselines)
	book.signature = signature{}
	book.sign()
	return &book
}

func (c *Case) given(list []*yaml.Node, d *document) {
	for _, n := range list {
		if n.Kind != yaml.ScalarNode {
			d.fault(n, "an event that holds `: `, or begins with `[` or `{`, must be quoted as a whole",
				"an event of a case must be one line of text, not %s", kindName(n))
			continue
		}
		c.Given = append(c.Given, Given{Text: n.Value, d: c.d, node: n})
	}
}

// caseOf reads what the case speaks of.
func (d *document) caseOf(c *Case, n *yaml.Node) {
	for _, e := range c.Expect {
		c.Of = append(c.Of, e.Rule)
	}
	if n != nil {
		items := []*yaml.Node{n}
		if n.Kind == yaml.SequenceNode {
			items = n.Content
		}
		for _, item := range items {
			c.Of = append(c.Of, d.alarmName(item, "of"))
		}
	}
	slices.Sort(c.Of)
	c.Of = slices.Compact(c.Of)
}

// expect reads {on: 2031-04-02, rule: copper over baseline, to: caution}.
func (d *document) expect(c *Case, n *yaml.Node) {
	const what = "an expected transition"
	before := len(d.l.faults)
	f := d.mapping(n, what, "on", "vehicle", "component", "rule", "to", "transition")
	if len(d.l.faults) > before {
		return
	}
	e := Expect{Vehicle: d.text(f.get("vehicle"), "vehicle"), Component: d.text(f.get("component"), "component")}
	if v := f.get("on"); v == nil {
		d.fault(n, "write `on: 2031-04-02`", "%s has no date", what)
	} else if _, err := time.Parse(time.DateOnly, v.Value); err != nil {
		d.fault(v, "write it as 2031-04-02", "%q is not a date", v.Value)
	} else {
		e.On = v.Value
	}
	if v := f.get("rule"); v == nil {
		d.fault(n, "write `rule: ` and the name of a rule or task", "%s has no rule", what)
	} else {
		e.Rule = d.alarmName(v, "rule")
	}
	if v := f.get("transition"); v != nil {
		e.Transition = transitionNames[d.choice(v, "transition", transitionNames...)]
	}
	if v := f.get("to"); v != nil {
		stages := d.l.stagesOf(e.Rule)
		e.To = stages[d.choice(v, "to", stages...)]
	}
	if e.To == "" && e.Transition == "" {
		d.fault(n, "write `to: caution`, or `transition: cleared`", "%s says neither to which stage nor by which transition", what)
	}
	c.Expect = append(c.Expect, e)
}

// alarmName reads the name of a rule, a task, a follow-up or a data alarm.
func (d *document) alarmName(n *yaml.Node, what string) string {
	name := d.text(n, what)
	known := d.l.alarmNames()
	if name == "" || slices.Contains(known, name) {
		return name
	}
	d.fault(n, d.l.didYouMean(name, known, "rules and tasks are named by their keys"), "there is no rule, task or follow-up %q", name)
	return name
}

func (l *loader) alarmNames() []string {
	names := map[string]bool{}
	for name := range l.names {
		names[name] = true
	}
	for _, t := range l.book.Tasks {
		for _, fu := range t.FollowUps {
			names[fu.Name] = true
		}
	}
	for _, r := range l.book.Rules {
		for _, fu := range r.FollowUps {
			names[fu.Name] = true
		}
	}
	return slices.Concat(slices.Sorted(maps.Keys(names)), dataAlarms)
}

// stagesOf are the stages that an alarm of that name can have.
func (l *loader) stagesOf(name string) []string {
	isRule := slices.ContainsFunc(l.book.Rules, func(r *Rule) bool { return r.Name == name })
	if isRule || slices.Contains(dataAlarms, name) {
		return StageNames[:]
	}
	return taskStages
}
