package people

import (
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/word"
)

// Subject is what can be heard of: a rule or a task that is at one of its stages on a
// vehicle, or on a component of it.
type Subject struct {
	Vehicle   Vehicle
	Component string // its name; "" for the whole vehicle
	Rule      string // the rule's or task's name
	Task      bool
	Statutory bool
	Stages    []alarm.Stage // any of them will do
}

// Hears says whether the person hears of it, at once or in the list, and the name of
// the entry that says how.
func (d *Directory) Hears(p *Person, s *Subject) (heard bool, entry string) {
	how, why := d.hears(p, s)
	return how == inDigest || how == atOnce, why
}

// Ways are those by which the person hears of it at once.
func (d *Directory) Ways(p *Person, s *Subject) []string {
	if how, _ := d.hears(p, s); how != atOnce {
		return nil
	}
	var out []string
	for _, e := range d.entries {
		if e.when != atOnce || !e.matches(p.ID, s) {
			continue
		}
		if len(e.by) == 0 {
			return p.Ways()
		}
		out = append(out, e.by...)
	}
	return slices.DeleteFunc(p.Ways(), func(way string) bool { return !slices.Contains(out, way) })
}

// hears returns how the person hears of it, and the name of the entry that says so.
func (d *Directory) hears(p *Person, s *Subject) (hearing, string) {
	how, why := notAtAll, ""
	if len(p.Ways()) == 0 {
		return how, why
	}
	for _, e := range d.entries {
		if e.when > how && e.matches(p.ID, s) {
			how, why = e.when, e.name
		}
	}
	return how, why
}

func (e *entry) matches(id string, s *Subject) bool {
	if !slices.Contains(e.who, id) && !(e.own && slices.Contains(s.Vehicle.People, id)) {
		return false
	}
	return e.about(s)
}

// about reports whether the entry is about the subject, whoever hears of it.
func (e *entry) about(s *Subject) bool {
	// A condition is tried for each stage that it may be about.
	return slices.ContainsFunc(s.Stages, func(stage alarm.Stage) bool {
		if len(e.stages) > 0 && !slices.Contains(e.stages, stage) {
			return false
		}
		if e.where == nil {
			return true
		}
		about := env{s.Vehicle, s.Vehicle.component(s.Component), s.Rule, string(stage), s.Task, s.Statutory}
		return holds(e.where, about, e.when != never)
	})
}

// Chase is what the entries that tell the person of it ask for while nobody
// acknowledges: the soonest reminder and the soonest stand-in; 0 for none.
func (d *Directory) Chase(p *Person, s *Subject) (remind, standIn time.Duration, who []string) {
	for _, e := range d.entries {
		if e.when != atOnce || !e.matches(p.ID, s) {
			continue
		}
		if e.remind > 0 && (remind == 0 || e.remind < remind) {
			remind = e.remind
		}
		if e.standIn > 0 && (standIn == 0 || e.standIn < standIn) {
			standIn, who = e.standIn, e.standIns
		}
	}
	return remind, standIn, who
}

// EntriesFor names the entries of tell by which a person is told at all.
func (d *Directory) EntriesFor(person string) (names []string) {
	for _, e := range d.entries {
		if e.when != never && (slices.Contains(e.who, person) || e.own) {
			names = append(names, e.name)
		}
	}
	return names
}

// Gap is an alarm that nobody would hear of.
type Gap struct {
	Vehicle, Component string
	Rule               string // the rule's or task's name
	Stage              alarm.Stage
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
	finder := applies.NewFinder(book)
	for _, v := range vehicles {
		for _, a := range alarmsOf(v, finder) {
			heard := false
			for _, p := range d.People() {
				if d.reached(p, &a) {
					heard, hears[p.ID] = true, true
				}
			}
			if stage := a.Stages[0]; !heard && stage != alarm.Soon && stage != alarm.Advisory {
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

// Idle are the entries of tell, by name, of which the `where` lets in nothing that the book
// can say of the vehicles.
func Idle(d *Directory, vehicles []Vehicle, book *rules.Book) (names []string) {
	waiting := slices.DeleteFunc(slices.Clone(d.entries), func(e *entry) bool { return e.where == nil })
	finder := applies.NewFinder(book)
	for _, v := range vehicles {
		if len(waiting) == 0 {
			break
		}
		for _, a := range alarmsOf(v, finder) {
			waiting = slices.DeleteFunc(waiting, func(e *entry) bool { return e.about(&a) })
		}
	}
	for _, e := range waiting {
		names = append(names, e.name)
	}
	return names
}

// reached says whether the person hears of it by a way that is there.
func (d *Directory) reached(p *Person, s *Subject) bool {
	how, _ := d.hears(p, s)
	return how == atOnce && len(d.Ways(p, s)) > 0 || how == inDigest && p.turn != nil && p.To[Mail] != ""
}

// alarmsOf are all alarms that the book can raise on a vehicle, at each stage.
func alarmsOf(v Vehicle, finder *applies.Finder) (all []Subject) {
	about := word.Vehicle{Key: v.ID, Name: v.Name, Kind: v.Kind, Tags: v.Tags}
	var comps []word.Component
	for _, c := range v.Components {
		comps = append(comps, word.Component{Name: c.Name, Kind: c.Kind, Fluid: c.Fluid})
	}
	add := func(rule string, stage alarm.Stage, component int, task, statutory bool) {
		s := Subject{Vehicle: v, Rule: rule, Task: task, Statutory: statutory, Stages: []alarm.Stage{stage}}
		if component >= 0 {
			s.Component = v.Components[component].Name
		}
		all = append(all, s)
	}
	applied := finder.To(&about, comps)
	for _, t := range applied.Tasks {
		for _, stage := range alarm.TaskStages[1:] {
			add(t.Task.Name, stage, t.Component, true, t.Task.Statutory)
		}
	}
	for _, r := range applied.Rules {
		for stage := rules.Advisory; stage <= rules.Warning; stage++ {
			if r.Rule.Measured && r.Rule.Has[stage] || !r.Rule.Measured && r.Rule.Stage == stage {
				add(r.Rule.Name, alarm.RuleStages[stage], r.Component, false, false)
			}
		}
	}
	return all
}
