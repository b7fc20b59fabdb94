package cases

import (
	"fmt"
	"strings"

	"telltale/engine/alarm"
	"telltale/rules"
)

// Gap is a rule or task with the stages that no case raises, and those that it
// does not leave again in any.
type Gap struct {
	Name       string   `json:"name"`
	Task       bool     `json:"task,omitempty"`
	NotRaised  []string `json:"notRaised,omitempty"`
	NotCleared []string `json:"notCleared,omitempty"`
}

// String is the gap as a line of a listing.
func (g Gap) String() string {
	var parts []string
	if len(g.NotRaised) > 0 {
		parts = append(parts, "no case raises "+strings.Join(g.NotRaised, ", "))
	}
	if len(g.NotCleared) > 0 {
		parts = append(parts, "no case clears "+strings.Join(g.NotCleared, ", "))
	}
	return fmt.Sprintf("%s: %s", g.Name, strings.Join(parts, "; "))
}

// cover is which stages of which rules and tasks the cases show.
type cover struct {
	book            *rules.Book
	raised, cleared map[shown]bool
}

// shown is a rule or task at a stage.
type shown struct {
	name  string
	stage alarm.Stage
}

func newCover(b *rules.Book) *cover {
	return &cover{b, map[shown]bool{}, map[shown]bool{}}
}

func (c *cover) see(t *alarm.Transition) {
	switch t.Transition {
	case alarm.Raised, alarm.Worsened:
		c.raised[shown{t.Rule, t.To}] = true
	case alarm.Eased, alarm.Cleared, alarm.Withdrawn:
		c.cleared[shown{t.Rule, t.From}] = true
	}
}

// gaps lists what is not shown: rules first, each by name.
func (c *cover) gaps() []Gap {
	var out []Gap
	add := func(g Gap, toFill []string, stages []alarm.Stage) {
		if len(toFill) > 0 {
			return // it cannot be raised until then; the check names it
		}
		for _, s := range stages {
			k := shown{g.Name, s}
			if !c.raised[k] {
				g.NotRaised = append(g.NotRaised, string(s))
			}
			if !c.cleared[k] {
				g.NotCleared = append(g.NotCleared, string(s))
			}
		}
		if g.NotRaised != nil || g.NotCleared != nil {
			out = append(out, g)
		}
	}
	for _, r := range c.book.Rules {
		add(Gap{Name: r.Name}, r.ToFill, ruleStages(r))
	}
	for _, t := range c.book.Tasks {
		add(Gap{Name: t.Name, Task: true}, t.ToFill, taskStages(t))
	}
	return out
}

func ruleStages(r *rules.Rule) []alarm.Stage {
	if !r.Measured {
		return []alarm.Stage{alarm.RuleStages[r.Stage]}
	}
	var out []alarm.Stage
	for s, has := range r.Has {
		if has {
			out = append(out, alarm.RuleStages[s])
		}
	}
	return out
}

func taskStages(t *rules.Task) []alarm.Stage {
	out := []alarm.Stage{alarm.Due, alarm.Overdue}
	if t.Reported && t.Tolerance == (rules.Tolerance{}) {
		out = out[:1] // it is never overdue
	}
	if t.Early != (rules.Limits{}) {
		out = append([]alarm.Stage{alarm.Soon}, out...)
	}
	return out
}
