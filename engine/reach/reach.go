// Package reach says how far the tasks and rules of a book reach over vehicles: to how many
// each applies, on how many it stands, and of how many it could not be judged. It asks a
// judge.View of each vehicle and changes nothing.
package reach

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/judge"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/word"
)

// Part is how far one task or rule reaches. The counts are of vehicles; one with two
// components that a rule is kept for counts once, by the worse of them.
type Part struct {
	Name     string              `json:"name"`
	Task     bool                `json:"task,omitempty"`
	Vehicles int                 `json:"vehicles"` // it applies to, those out of service among them
	Stands   map[alarm.Stage]int `json:"stands,omitempty"`
	// NotJudged is on how many a rule could not be judged, at least in part, though there
	// was something to judge.
	NotJudged int `json:"notJudged,omitempty"`
	// Baselines are the baselines of the components that a rule on samples is kept for, by
	// name: what it compares with, where it asks what is usual.
	Baselines []string `json:"baselines,omitempty"`
}

// Standing is on how many vehicles it stands, at whichever stage.
func (p *Part) Standing() (n int) {
	for _, of := range p.Stands {
		n += of
	}
	return n
}

// Place is a vehicle, or a component of it, on which a task or rule stands or could not be
// judged.
type Place struct {
	Vehicle   string         `json:"vehicle"`
	Name      string         `json:"name"` // for people
	Component string         `json:"component,omitempty"`
	Stage     alarm.Stage    `json:"stage"`
	Standing  alarm.Standing `json:"standing,omitempty"` // "" where nothing stands
	Since     time.Time      `json:"since,omitzero"`
	// Missing is what it could not be judged without; nil where it was.
	Missing []string `json:"missing,omitempty"`
}

// MostPlaces is how many places are told of one task or rule; a list of what stands has all.
const MostPlaces = 100

// Count counts what reaches vehicles, one after the other. The zero Count has counted none.
type Count struct{ tasks, rules map[string]*Part }

// Add counts one vehicle.
func (c *Count) Add(v *judge.View) {
	if c.tasks == nil {
		c.tasks, c.rules = map[string]*Part{}, map[string]*Part{}
	}
	parts := v.Applied().Rules
	// What is of one name stands together.
	for list := parts.Tasks; len(list) > 0; {
		n, worst := 0, 0
		for ; n < len(list) && list[n].Task == list[0].Task; n++ {
			worst = max(worst, stageOf(v, list[n].Task.Name, list[n].Component))
		}
		c.part(c.tasks, list[0].Task.Name, true).stands(alarm.TaskStages[worst])
		list = list[n:]
	}
	for list := parts.Rules; len(list) > 0; {
		n, worst, missing := 0, 0, false
		p := c.part(c.rules, list[0].Rule.Name, false)
		for ; n < len(list) && list[n].Rule == list[0].Rule; n++ {
			worst = max(worst, stageOf(v, list[n].Rule.Name, list[n].Component))
			missing = missing || missingOf(v, list[n]) != nil
			p.compares(parts, list[n])
		}
		p.stands(alarm.RuleStages[worst])
		if missing {
			p.NotJudged++
		}
		list = list[n:]
	}
}

func (c *Count) part(of map[string]*Part, name string, task bool) *Part {
	p := of[name]
	if p == nil {
		p = &Part{Name: name, Task: task, Stands: map[alarm.Stage]int{}}
		of[name] = p
	}
	p.Vehicles++
	return p
}

func (p *Part) stands(stage alarm.Stage) {
	if stage != alarm.Normal {
		p.Stands[stage]++
	}
}

// compares notes which baseline a rule compares with.
func (p *Part) compares(parts *applies.Parts, a applies.Rule) {
	if a.Component < 0 || parts.Baselines[a.Component] == nil {
		return
	}
	name := parts.Baselines[a.Component].Name
	if !slices.Contains(p.Baselines, name) && asksBaseline(a.Rule) {
		p.Baselines = append(p.Baselines, name)
	}
}

// ofBaselines are the words that a baseline answers.
var ofBaselines = [...]word.Word{word.Times, word.TimesForAge, word.Usual, word.Excess, word.ExcessIsReal, word.HasUsual, word.Deviations,
	word.Percentile, word.TimesTheAge, word.Fresh, word.Kept, word.HasFresh}

func asksBaseline(r *rules.Rule) bool {
	return slices.ContainsFunc(ofBaselines[:], func(w word.Word) bool { return len(r.Asks(w)) > 0 })
}

// Parts is what was counted, tasks first, each by name.
func (c *Count) Parts() []Part {
	var out []Part
	for _, of := range []map[string]*Part{c.tasks, c.rules} {
		for _, name := range slices.Sorted(maps.Keys(of)) {
			p := *of[name]
			slices.Sort(p.Baselines)
			out = append(out, p)
		}
	}
	return out
}

// Merge adds up what was counted of different vehicles.
func Merge(parts []Part) []Part {
	sum := Count{map[string]*Part{}, map[string]*Part{}}
	for i := range parts {
		o, of := &parts[i], sum.rules
		if o.Task {
			of = sum.tasks
		}
		p := sum.part(of, o.Name, o.Task)
		p.Vehicles += o.Vehicles - 1
		p.NotJudged += o.NotJudged
		for stage, n := range o.Stands {
			p.Stands[stage] += n
		}
		p.Baselines = append(p.Baselines, o.Baselines...)
	}
	out := sum.Parts()
	for i := range out {
		out[i].Baselines = slices.Compact(out[i].Baselines)
	}
	return out
}

// stageOf is the number of the stage at which a task or rule is on a component.
func stageOf(v *judge.View, name string, component int) int {
	if a := v.Rec.Alarm(v.Key(name, component)); a != nil {
		return a.Stage
	}
	return 0
}

// missingOf is what a rule could not be judged without where there was something to judge;
// nil where it was judged.
func missingOf(v *judge.View, a applies.Rule) []string {
	i, ok := v.Rec.LatchAt(v.Key(a.Rule.Name, a.Component))
	if !ok || len(v.Rec.Latches[i].Missing) == 0 || len(v.Judgements(a.Rule, a.Component)) == 0 {
		return nil
	}
	return v.Rec.Latches[i].Missing
}

// On are the places on one vehicle on which the task or rule of that name stands, has
// returned with nobody saying that they know, or could not be judged.
func On(v *judge.View, name string) (out []Place) {
	reg := v.Rec.Registered()
	add := func(component int, missing []string) {
		k := v.Key(name, component)
		p := Place{Vehicle: v.Rec.Shown(), Name: reg.Name, Component: k.Component, Stage: alarm.Normal, Missing: missing}
		if a := v.Rec.Alarm(k); a != nil {
			p.Stage, p.Standing, p.Since = a.StageName(a.Stage), a.Standing(v.Rec.Out), time.Unix(a.Since, 0).UTC()
		}
		if p.Standing != "" || missing != nil {
			out = append(out, p)
		}
	}
	for _, a := range v.Applied().Rules.Tasks {
		if a.Task.Name == name {
			add(a.Component, nil)
		}
	}
	for _, a := range v.Applied().Rules.Rules {
		if a.Rule.Name == name {
			add(a.Component, missingOf(v, a))
		}
	}
	return out
}

// Worst are the worst of the places, at most [MostPlaces]: those where it stands, the worst
// stage first, then those where it could not be judged.
func Worst(list []Place) []Place {
	worse := func(p *Place) int {
		return max(slices.Index(alarm.TaskStages[:], p.Stage), slices.Index(alarm.RuleStages[:], p.Stage))
	}
	slices.SortFunc(list, func(a, b Place) int {
		return cmp.Or(cmp.Compare(worse(&b), worse(&a)), strings.Compare(a.Vehicle, b.Vehicle), strings.Compare(a.Component, b.Component))
	})
	return list[:min(len(list), MostPlaces)]
}
