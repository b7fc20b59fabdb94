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
	raised, cleared map[[2]string]bool // by name and stage
}

func newCover(b *rules.Book) *cover {
	return &cover{b, map[[2]string]bool{}, map[[2]string]bool{}}
}

func (c *cover) see(t *alarm.Transition) {
	switch t.Transition {
	case "raised", "worsened":
		c.raised[[2]string{t.Rule, t.To}] = true
	case "eased", "cleared", "withdrawn":
		c.cleared[[2]string{t.Rule, t.From}] = true
	}
}

// gaps lists what is not shown: rules first, each by name.
func (c *cover) gaps() []Gap {
	var out []Gap
	add := func(g Gap, stages []string) {
		for _, s := range stages {
			k := [2]string{g.Name, s}
			if !c.raised[k] {
				g.NotRaised = append(g.NotRaised, s)
			}
			if !c.cleared[k] {
				g.NotCleared = append(g.NotCleared, s)
			}
		}
		if g.NotRaised != nil || g.NotCleared != nil {
			out = append(out, g)
		}
	}
	for _, r := range c.book.Rules {
		if len(r.ToFill) > 0 {
			continue // it cannot be raised until then; the check names it
		}
		add(Gap{Name: r.Name}, ruleStages(r))
	}
	for _, t := range c.book.Tasks {
		if len(t.ToFill) > 0 {
			continue
		}
		add(Gap{Name: t.Name, Task: true}, taskStages(t))
	}
	return out
}

func ruleStages(r *rules.Rule) []string {
	if !r.Measured {
		return []string{rules.StageNames[r.Stage]}
	}
	var out []string
	for s, has := range r.Has {
		if has {
			out = append(out, rules.StageNames[s])
		}
	}
	return out
}

func taskStages(t *rules.Task) []string {
	out := []string{"due", "overdue"}
	if t.Early != (rules.Limits{}) {
		out = append([]string{"soon"}, out...)
	}
	return out
}
