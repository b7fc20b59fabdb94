package whatif

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/rules"
)

// key names an alarm in both books: by its name in the new one.
type key struct{ vehicle, rule, component string }

// episode is an alarm's life by one book, from raised to cleared.
type episode struct {
	raised  time.Time // zero where it was not
	open    bool
	stage   alarm.Stage // the worst
	message string
}

// pair is an alarm's life by both books, as far as they overlap in time.
type pair [2]episode

// comparer pairs the alarms of two books while they come.
type comparer struct {
	standing map[key]pair // those of which one side at least is open
	counts   map[string]*Count
	renamed  map[string]string // the new names of the old book's rules and tasks
	each     func(Difference) error
}

func newComparer(newer *rules.Book, each func(Difference) error) *comparer {
	c := &comparer{standing: map[key]pair{}, counts: map[string]*Count{}, renamed: map[string]string{}, each: each}
	for _, r := range newer.Rules {
		c.nowCalled(&r.Part)
	}
	for _, t := range newer.Tasks {
		c.nowCalled(&t.Part)
	}
	return c
}

func (c *comparer) nowCalled(p *rules.Part) {
	for _, was := range p.Was {
		c.renamed[was] = p.Name
	}
}

func (c *comparer) count(rule string) *Count {
	n := c.counts[rule]
	if n == nil {
		n = &Count{Rule: rule, Differences: map[string]int{}}
		c.counts[rule] = n
	}
	return n
}

// step takes what one event brought by both books. An alarm is looked at once
// both have spoken: a raise on one side and the end on the other are one moment.
func (c *comparer) step(old, newer []engine.Output) error {
	var touched []key
	for s, out := range [2][]engine.Output{old, newer} {
		for _, o := range out {
			if o.Transition == nil {
				continue
			}
			k := c.take(Side(s), o.Transition)
			if !slices.Contains(touched, k) {
				touched = append(touched, k)
			}
		}
	}
	for _, k := range touched {
		if p := c.standing[k]; !p[Old].open && !p[New].open {
			delete(c.standing, k)
			if err := c.tell(k, p); err != nil {
				return err
			}
		}
	}
	return nil
}

func (c *comparer) take(s Side, t *alarm.Transition) key {
	k := key{t.Home(), t.Rule, t.Component}
	if to, ok := c.renamed[t.Rule]; ok && s == Old {
		k.rule = to
	}
	n := c.count(k.rule)
	n.Transitions[s]++
	p := c.standing[k]
	e := &p[s]
	switch t.Transition {
	case alarm.Raised:
		n.Raised[s]++
		e.open = true
		if e.raised.IsZero() {
			e.raised = t.Time
		}
		e.worsen(t)
	case alarm.Worsened:
		e.worsen(t)
	case alarm.Cleared, alarm.Withdrawn:
		e.open = false
	}
	c.standing[k] = p
	return k
}

var severity = map[alarm.Stage]int{alarm.Advisory: 1, alarm.Soon: 1, alarm.Caution: 2, alarm.Due: 2, alarm.Warning: 3, alarm.Overdue: 3}

func (e *episode) worsen(t *alarm.Transition) {
	if severity[t.To] > severity[e.stage] {
		e.stage, e.message = t.To, t.Message
	}
}

// tell counts the pair and tells what differs.
func (c *comparer) tell(k key, p pair) error {
	kind := p.differs()
	if kind == "" {
		return nil
	}
	c.count(k.rule).Differences[kind]++
	return c.each(Difference{Difference: kind, Vehicle: k.vehicle, Component: k.component, Rule: k.rule,
		OldRaised: p[Old].raised, NewRaised: p[New].raised, OldStage: p[Old].stage, NewStage: p[New].stage,
		Message: cmp.Or(p[New].message, p[Old].message)})
}

func (p pair) differs() string {
	old, newer := p[Old], p[New]
	switch worse := severity[newer.stage] - severity[old.stage]; {
	case old.raised.IsZero() && newer.raised.IsZero():
		return ""
	case newer.raised.IsZero():
		return OnlyOld
	case old.raised.IsZero():
		return OnlyNew
	case newer.raised.Before(old.raised):
		return Earlier
	case newer.raised.After(old.raised):
		return Later
	case worse > 0:
		return Worse
	case worse < 0:
		return Milder
	}
	return ""
}

// end tells of what still stands, in order of name.
func (c *comparer) end() error {
	left := slices.SortedFunc(maps.Keys(c.standing), func(a, b key) int {
		return cmp.Or(strings.Compare(a.vehicle, b.vehicle), strings.Compare(a.rule, b.rule), strings.Compare(a.component, b.component))
	})
	for _, k := range left {
		if err := c.tell(k, c.standing[k]); err != nil {
			return err
		}
	}
	return nil
}
