package people

import (
	"slices"
	"telltale/engine/alarm"
	"time"
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
	ofStage := func(stage alarm.Stage) bool { return slices.Contains(s.Stages, stage) }
	if len(e.stages) > 0 && !slices.ContainsFunc(e.stages, ofStage) {
		return false
	}
	if e.where == nil {
		return true
	}
	// A condition is tried for each stage that it may be about.
	return slices.ContainsFunc(s.Stages, func(stage alarm.Stage) bool {
		if len(e.stages) > 0 && !slices.Contains(e.stages, stage) {
			return false
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
