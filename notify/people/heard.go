package people

import (
	"telltale/rules"
	"telltale/rules/word"
)

// Gap is an alarm that nobody would hear of.
type Gap struct {
	Vehicle, Component string
	Rule               string // the rule's or task's name
	Stage              string
}

// Unheard lists what the book can say of the vehicles and nobody would hear of, at
// once or in a list, by vehicle in the book's order; soon and advisory may go
// unheard. deaf are the people, by id, who would hear of nothing at all, not even
// of the service itself.
func Unheard(d *Directory, vehicles []Vehicle, book *rules.Book) (gaps []Gap, deaf []string) {
	hears := map[string]bool{}
	for _, id := range d.operators {
		hears[id] = true
	}
	judge := rules.NewJudge(book)
	for _, v := range vehicles {
		for _, a := range alarmsOf(v, book, judge) {
			heard := false
			for _, p := range d.People() {
				if d.reached(p, &a) {
					heard, hears[p.ID] = true, true
				}
			}
			if stage := a.Stages[0]; !heard && stage != "soon" && stage != "advisory" {
				gaps = append(gaps, Gap{v.ID, a.Component, a.Rule, stage})
			}
		}
	}
	for _, p := range d.People() {
		if !hears[p.ID] {
			deaf = append(deaf, p.ID)
		}
	}
	return gaps, deaf
}

// reached says whether the person hears of it by a way that is there.
func (d *Directory) reached(p *Person, s *Subject) bool {
	how, _ := d.hears(p, s)
	return how == atOnce && len(d.Ways(p, s)) > 0 || how == inDigest && p.turn != nil && p.To[Mail] != ""
}

// alarmsOf are all alarms that the book can raise on a vehicle, at each stage.
func alarmsOf(v Vehicle, book *rules.Book, judge *rules.Judge) (all []Subject) {
	about := word.Vehicle{Name: v.Name, Kind: v.Kind, Tags: v.Tags}
	var comps []word.Component
	for _, c := range v.Components {
		comps = append(comps, word.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid})
	}
	add := func(rule, stage string, component int, task, statutory bool) {
		s := Subject{Vehicle: v, Rule: rule, Task: task, Statutory: statutory, Stages: []string{stage}}
		if component >= 0 {
			s.Component = v.Components[component].Name
		}
		all = append(all, s)
	}
	applied := book.For(judge, &about, comps)
	for _, t := range applied.Tasks {
		for _, stage := range []string{"soon", "due", "overdue"} {
			add(t.Task.Name, stage, t.Component, true, t.Task.Statutory)
		}
	}
	for _, r := range applied.Rules {
		for stage := rules.Advisory; stage <= rules.Warning; stage++ {
			if r.Rule.Measured && r.Rule.Has[stage] || !r.Rule.Measured && r.Rule.Stage == stage {
				add(r.Rule.Name, rules.StageNames[stage], r.Component, false, false)
			}
		}
	}
	return all
}
