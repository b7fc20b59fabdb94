// Package why tells why a rule, a task or an alarm on the data stands on a vehicle as it
// does, normal included. It asks a [judge.View] and changes nothing.
package why

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/latch"
	"telltale/engine/recall"
	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/expression"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Why is why a rule, a task or an alarm on the data stands on a vehicle as it
// does, normal included.
type Why struct {
	Vehicle   string         `json:"vehicle"`
	Name      string         `json:"name"` // the vehicle's name for people
	Component string         `json:"component,omitempty"`
	Rule      string         `json:"rule"` // the rule's or task's name
	Title     string         `json:"title,omitempty"`
	Stage     alarm.Stage    `json:"stage"`
	Standing  alarm.Standing `json:"standing,omitempty"` // absent where nothing stands
	// DoesNotApply says why the rule is not kept for this vehicle; all else is then absent.
	DoesNotApply string   `json:"doesNotApply,omitempty"`
	Judged       *Judged  `json:"judged,omitempty"` // of a rule that was judged at least once
	NotJudged    *Missing `json:"notJudged,omitempty"`
	// Masked says what exchange hides the evidence, so that the alarm may worsen but
	// not ease.
	Masked string         `json:"masked,omitempty"`
	Due    *due.Reckoning `json:"due,omitempty"` // of a task or follow-up
	// Opens are the follow-ups that it may open.
	Opens []Opened `json:"opens,omitempty"`
	// Last is the last transition that is known of it: when, by which book, and
	// with which words. It is forgotten once the alarm is normal and known.
	Last *alarm.Transition `json:"last,omitempty"`
	Book string            `json:"book"` // in force now
}

// Opened is a follow-up that a rule or a task may open, under the name by which the work
// is entered.
type Opened struct {
	Name  string `json:"name"`
	Title string `json:"title,omitempty"`
}

func opened(list []rules.FollowUp) (out []Opened) {
	for _, u := range list {
		if o := (Opened{u.Name, u.Title}); !slices.Contains(out, o) {
			out = append(out, o)
		}
	}
	return out
}

// Judged is the last judgement of a rule.
type Judged struct {
	On        recall.Event `json:"on"`
	Condition string       `json:"condition"` // the rule's measure, or what raises it
	// Source says where the figures of a pattern come from.
	Source  string `json:"source,omitempty"`
	Message string `json:"message,omitempty"`
	// Measure and Limits belong to a rule that measures, Raise to a pattern.
	Measure  *float64        `json:"measure,omitempty"`
	Unit     string          `json:"unit,omitempty"` // of Measure and Limits, where somebody may read them in another
	Limits   []Limit         `json:"limits,omitempty"`
	Raise    *bool           `json:"raise,omitempty"`
	Evidence []word.Evidence `json:"evidence,omitempty"`
	Baseline *Baseline       `json:"baseline,omitempty"`
	Events   []recall.Event  `json:"events,omitempty"`
}

// Limit is one limit of a rule: where it goes on, where it goes off again,
// whether it is on, and how many judged samples in a row reached it of those that
// it takes.
type Limit struct {
	Stage alarm.Stage `json:"stage"`
	At    float64     `json:"at"`
	Off   float64     `json:"off"`
	Below bool        `json:"below,omitempty"`
	On    bool        `json:"on"`
	Count int         `json:"count,omitempty"`
	Takes int         `json:"takes,omitempty"`
	// Source says where the limit comes from.
	Source string `json:"source,omitempty"`
}

// Baseline is the baseline that counts for the component.
type Baseline struct {
	Name     string         `json:"name"`
	Source   string         `json:"source,omitempty"`
	FluidAge *unit.Quantity `json:"fluidAge,omitempty"` // at which the means were taken
	// Mean and Fresh are the figures of the analytes that the rule names.
	Mean   map[string]float64 `json:"mean,omitempty"`
	Spread map[string]float64 `json:"spread,omitempty"`
	Fresh  map[string]float64 `json:"fresh,omitempty"`
	// Fleet is what a baseline made from the fleet says of the sample.
	Fleet *fleet.Figures `json:"fleet,omitempty"`
}

// Missing is what the latest event could not be judged without.
type Missing struct {
	On      recall.Event `json:"on"`
	Missing []string     `json:"missing"`
}

// Of tells it of one vehicle that is registered.
func Of(v *judge.View, name string) []Why {
	w := whyReader{view: v, name: name}
	if v.Rec.Registered().Retired {
		return w.retired()
	}
	for _, ar := range v.Applied().Rules.Rules {
		w.rule(ar)
	}
	w.tasks()
	w.others()
	if len(w.out) == 0 && name != "" {
		w.doesNotApply()
	}
	slices.SortStableFunc(w.out, func(a, b Why) int {
		return cmp.Or(strings.Compare(a.Rule, b.Rule), strings.Compare(a.Component, b.Component))
	})
	return w.out
}

// whyReader collects the answers for one vehicle.
type whyReader struct {
	view *judge.View
	name string // "" for all
	out  []Why
}

func (w *whyReader) wanted(name string) bool { return w.name == "" || w.name == name }

// begin is what is told of any alarm: how it stands and when it moved last.
func (w *whyReader) begin(k alarm.Key, title string) Why {
	v := w.view
	y := Why{Vehicle: v.Rec.Shown(), Name: v.Rec.Registered().Name, Component: k.Component, Rule: k.Rule, Title: title, Stage: alarm.Normal, Book: v.BookHash()}
	if a := v.Rec.Alarm(k); a != nil {
		y.Stage, y.Standing, y.Last = a.StageName(a.Stage), a.Standing(v.Rec.Out), v.Told(&a.Last)
	}
	return y
}

func (w *whyReader) rule(ar applies.Rule) {
	if !w.wanted(ar.Rule.Name) {
		return
	}
	v, r := w.view, ar.Rule
	k := v.Key(r.Name, ar.Component)
	y := w.begin(k, r.Title)
	y.Opens = opened(r.FollowUps)
	l, _ := v.Rec.LatchOf(k)
	places := v.Judgements(r, ar.Component)
	if len(l.Missing) > 0 && len(places) > 0 {
		y.NotJudged = &Missing{On: recall.Of(v, places[len(places)-1].ID), Missing: l.Missing}
	} else if len(places) == 0 {
		y.NotJudged = &Missing{On: recall.Event{What: recall.NothingYet}, Missing: []string{whatItWaitsFor(r)}}
	}
	for i := len(places) - 1; i >= 0; i-- {
		if at := places[i]; at.ID == l.Judged && (at.ID != event.ID{} || len(l.Missing) == 0) {
			y.Judged = whyJudged(v, ar, l, at)
			break
		}
	}
	if l.Masked && l.Stage > 0 {
		y.Masked = recall.Masked(v, ar.Rule, ar.Component, l)
	}
	w.out = append(w.out, y)
}

// tasks tells of the tasks and follow-ups, with how their due points came about.
func (w *whyReader) tasks() {
	reckoned := due.Reckonings(w.view, w.name)
	for i := range reckoned {
		y := w.begin(alarm.Key{Rule: reckoned[i].Task, Component: reckoned[i].Component}, reckoned[i].Title)
		y.Due = &reckoned[i]
		for _, at := range w.view.Applied().Rules.Tasks {
			if at.Task.Name == reckoned[i].Task && !reckoned[i].FollowUp && w.view.ComponentName(at.Component) == reckoned[i].Component {
				y.Opens = opened(at.Task.FollowUps)
			}
		}
		w.out = append(w.out, y)
	}
}

// others tells of the alarms that no rule or task of the book has: on the data.
func (w *whyReader) others() {
	for _, a := range w.view.Rec.Alarms {
		known := slices.ContainsFunc(w.out, func(y Why) bool { return y.Rule == a.Rule && y.Component == a.Component })
		if !known && w.wanted(a.Rule) {
			w.out = append(w.out, w.begin(a.Key, a.Last.Title))
		}
	}
}

// doesNotApply tells why a rule or task of the book is not kept for the vehicle.
func (w *whyReader) doesNotApply() {
	b := w.view.Book
	for _, r := range b.Rules {
		if r.Name == w.name {
			w.not(r.Title, r.Where, r.PerComponent)
		}
	}
	for _, t := range b.Tasks {
		if t.Name == w.name {
			w.not(t.Title, t.Where, t.PerComponent)
			if len(t.ToFill) > 0 {
				w.out[len(w.out)-1].DoesNotApply = strings.Join(t.ToFill, "; ")
			}
		}
	}
}

func (w *whyReader) not(title string, where *expression.Condition, perComponent bool) {
	y := w.begin(alarm.Key{Rule: w.name}, title)
	y.DoesNotApply = notApplied(where, perComponent)
	w.out = append(w.out, y)
}

func (w *whyReader) retired() []Why {
	name := w.name
	if name == "" {
		name = "everything"
	}
	y := w.begin(alarm.Key{Rule: name}, "")
	y.DoesNotApply = "the vehicle is retired"
	return []Why{y}
}

// Stands reports whether there is something to be known: a stage, or a rule that
// could not be judged though there was something to judge.
func (y *Why) Stands() bool {
	return y.Stage != alarm.Normal || y.NotJudged != nil && y.NotJudged.On.ID != nil || y.Due != nil && y.Due.Stage != alarm.TaskStages[interval.Normal]
}

// whyJudged runs the rule again where it was judged last.
func whyJudged(v *judge.View, ar applies.Rule, l latch.Latch, at judge.Judgement) *Judged {
	r, j := ar.Rule, v.Judge
	x := v.FactsAt(ar.Component, at)
	got := j.Run(r, x)
	if len(got.Ends) == 0 {
		return nil
	}
	end := got.Ends[len(got.Ends)-1]
	out := &Judged{On: recall.Of(v, at.ID), Condition: r.Condition()}
	x.Used = nil
	out.Evidence = readIn(v, j.Why(r, x, end))
	if l.Stage > 0 {
		out.Message = v.Say(r, l.Stage, x, end.Measure)
	}
	if r.Measured {
		out.Measure = &end.Measure
		out.Limits = whyLimits(r, l, end)
		out.readIn(v.Units(), measuredIn(r, out.Evidence))
	} else {
		out.Raise = &end.Raise
		out.Source = r.SourceOf(0)
	}
	if b := x.Baseline; b != nil && r.On&rules.OnSample != 0 {
		out.Baseline = whyBaseline(v, b, r.Condition())
		if out.Baseline.Fleet = x.Fleet; x.Fleet != nil {
			for a, value := range out.Baseline.Mean {
				out.Baseline.Mean[a] = math.Round(value*1000) / 1000
			}
		}
	}
	for _, id := range x.Used {
		out.Events = append(out.Events, recall.Of(v, id))
	}
	return out
}

// readIn is evidence as people read of the vehicle.
func readIn(v *judge.View, all []word.Evidence) []word.Evidence {
	s := v.Units()
	for i := range all {
		all[i] = all[i].In(s)
	}
	return all
}

// measuredIn is the unit of the rule's measure and limits: for 100 h where a rate was
// answered so.
func measuredIn(r *rules.Rule, all []word.Evidence) string {
	in := r.MeasuredIn()
	of, _, rate := strings.Cut(in, " per 1,000 ")
	byHours := func(e word.Evidence) bool { return strings.HasSuffix(e.Unit, " per 100 h") }
	if rate && slices.ContainsFunc(all, byHours) {
		return of + " per 100 h"
	}
	return in
}

// readIn puts the measure and its limits, which are in the unit, into those of a reader.
func (j *Judged) readIn(s unit.System, in string) {
	if in == "" {
		return
	}
	own := func(x *float64) {
		e := word.Evidence{Value: *x, Unit: in}.In(s)
		*x, j.Unit = e.Value, e.Unit
	}
	own(j.Measure)
	for i := range j.Limits {
		own(&j.Limits[i].At)
		own(&j.Limits[i].Off)
	}
}

func whyLimits(r *rules.Rule, l latch.Latch, e rules.End) []Limit {
	var out []Limit
	for s := rules.Advisory; s <= rules.Warning; s++ {
		if !r.Has[s] || math.IsNaN(e.Limits[s]) {
			continue
		}
		w := Limit{Stage: alarm.RuleStages[s], At: e.Limits[s], Off: r.Off(e.Limits[s]), Below: r.Below, On: l.On[s], Source: r.SourceOf(s)}
		if r.Confirm[s] > 1 {
			w.Count, w.Takes = l.Count[s], r.Confirm[s]
		}
		out = append(out, w)
	}
	return out
}

func whyBaseline(v *judge.View, b *rules.Baseline, condition string) *Baseline {
	named := func(figures map[string]float64) map[string]float64 {
		out := map[string]float64{}
		for a, value := range figures {
			if strings.Contains(condition, strconv.Quote(a)) {
				out[a] = value
			}
		}
		return out
	}
	out := &Baseline{Name: b.Name, Source: b.Source, Mean: named(b.Mean), Fresh: named(b.Fresh)}
	if strings.Contains(condition, word.Deviations.String()+"(") {
		out.Spread = named(b.Spread)
	}
	switch {
	case b.FluidAge.Distance > 0:
		value, u := v.Shown(b.FluidAge.Distance, false)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	case b.FluidAge.Hours > 0:
		value, u := v.Shown(b.FluidAge.Hours, true)
		out.FluidAge = &unit.Quantity{Value: value, Unit: u}
	}
	return out
}
