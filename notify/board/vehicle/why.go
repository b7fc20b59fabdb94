package vehicle

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/recall"
	"telltale/engine/stream/service"
	"telltale/engine/why"
	"telltale/notify/board/frame"
	"telltale/notify/handover"
	"telltale/notify/page"
	"telltale/notify/rights"
	"telltale/notify/stages"
	"telltale/notify/wording"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/word"
)

// whyPage is why a rule or a task stands as it does, on each component that was asked for.
type whyPage struct{ Answers []answer }

// answer is why one stands, in the order in which it is told.
type answer struct {
	Badge     frame.Badge
	Standing  string // in words, where there are several
	What      string // the rule's or task's name, and of which component
	Title     string // for people, where it says more
	Not       string // why it is not kept for the vehicle
	Strong    string // what to do first
	Found     string
	NotJudged *notJudged
	Judged    *judged
	Masked    string
	Task      *task
	Said      []page.Line // of an alarm on the data
	Opens     []string
	Last      string
	Book      string
	Do        []frame.Link
	Rule      string // where the rule or task stands in the book; "" for none
}

type notJudged struct {
	How     string
	On      fact
	Missing string
}

// fact is an event that something rests on: what it was, when, its source and identity.
type fact struct {
	What, On, Source string
	Entry            string // where it stands in the history; "" for none
}

type judged struct {
	On        fact
	Condition string
	Measure   string // "" of a pattern
	Raised    string // of a pattern, whether it holds
	Source    string
	Limits    []limit
	Figures   []figure
	Baseline  string
	Events    []fact
}

// limit is one limit of a rule.
type limit struct {
	frame.Badge
	Where, State, Source string
	On                   bool
}

// figure is one that a rule reckoned with: for people, and as the rule asks it.
type figure struct{ What, Value, Note, Asked string }

func (s site) why(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	v, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	q := r.Question()
	q.Vehicle, q.Rule = v.Vehicle.Vehicle, r.PathValue("rule")
	list, err := service.Why.Of(ctx, s.Service, q)
	if err != nil {
		return nil, err
	}
	if c := r.FormValue("component"); c != "" {
		list = slices.DeleteFunc(list, func(y why.Why) bool { return y.Component != c })
	}
	if len(list) == 0 {
		return nil, &frame.Fault{Status: 404, Title: wordNoRule, Words: wordNoRuleDo}
	}
	d := whyPage{}
	for i := range list {
		a := v.answer(&list[i])
		if len(list) > 1 {
			a.Standing = v.headline(&list[i], 1)
		}
		d.Answers = append(d.Answers, a)
	}
	y := &list[0]
	body, err := templates.Body("why", d)
	return &frame.Page{Section: frame.Vehicles, Title: "Why: " + clean(title(y)), About: v.title(), Lead: v.headline(y, len(list)), Up: v.up(), Body: body, Work: true, Watch: v.Vehicle.Vehicle}, err
}

// title is what people call the rule or task.
func title(y *why.Why) string {
	if y.Title != "" {
		return y.Title
	}
	return english.Capital(y.Rule)
}

func (v *told) headline(y *why.Why, of int) string {
	if of > 1 {
		return fmt.Sprintf(wordParts, english.Counted(of, "component", "components"))
	}
	said := strings.TrimPrefix(y.HeadlineIn(stageWord), y.Rule)[len(onComponent(y)):]
	return english.Sentence(v.said(said))
}

// stageWord is the word of a stage's badge.
func stageWord(s alarm.Stage) string {
	if s == alarm.Normal {
		return wordNormal
	}
	return stages.Head(s)
}

// onComponent is what a headline says of the component.
func onComponent(y *why.Why) string {
	if y.Component == "" {
		return ": "
	}
	return " (" + y.Component + "): "
}

func (v *told) answer(y *why.Why) answer {
	a := answer{Badge: frame.BadgeOf(y.Stage), What: clean(y.Rule), Not: v.said(y.DoesNotApply), Masked: english.Sentence(v.said(y.Masked)), Book: rules.ShortHash(y.Book)}
	if y.Stage == alarm.Normal {
		a.Badge.Word = wordNormal
	}
	if y.Component != "" {
		a.What = english.Capital(clean(y.Component)) + ": " + a.What
	}
	if v.may(rights.Watch) && (y.Judged != nil || y.NotJudged != nil || y.Due != nil && !y.Due.FollowUp) {
		a.Rule = frame.Path("rules", y.Rule)
	}
	if l := y.Last; l != nil {
		a.Last = fmt.Sprintf("%s, %s: %s, from %s to %s, by the book %s", v.by.Day(l.Time.In(v.where)), l.Time.In(v.where).Format("15:04"), l.Transition, stageWord(l.From), stageWord(l.To), rules.ShortHash(l.Book))
	}
	if y.NotJudged != nil && y.DoesNotApply == "" {
		how := "Not judged on"
		if y.InPart() {
			how = "Judged only in part on"
		}
		a.NotJudged = &notJudged{how, v.fact(&y.NotJudged.On), clean(strings.Join(y.NotJudged.Missing, ", "))}
	}
	a.found(v, y)
	if y.Due != nil {
		a.Task = v.task(y.Due)
	}
	for _, o := range y.Opens {
		a.Opens = append(a.Opens, clean(o.Name))
	}
	a.Do = v.answers(y)
	return a
}

// found says what was found, and what to do.
func (a *answer) found(v *told, y *why.Why) {
	switch {
	case y.Judged != nil:
		a.Judged = v.judged(y.Judged)
		if m := y.Judged.Message; m != "" && !strings.EqualFold(m, y.Title) {
			a.Found = english.Sentence(v.said(m))
		}
	case y.Due == nil && y.Last != nil:
		a.Found = english.Sentence(v.said(y.Last.Message))
	}
	if y.Last != nil && y.Stage != alarm.Normal {
		a.Strong = english.Sentences(v.said(wording.DoFirst(y.Due != nil, y.Last.Statutory, y.Stage, frame.Advise(y.Last))))
	}
	if y.Judged == nil && y.Due == nil && y.Last != nil {
		for _, f := range v.figures(y.Last.Evidence) {
			a.Said = append(a.Said, page.Line{Label: f.What, Text: f.Value})
		}
	}
}

func (v *told) judged(j *why.Judged) *judged {
	out := &judged{On: v.fact(&j.On), Condition: english.OneLine(j.Condition), Measure: j.MeasureWords(), Source: clean(j.Source), Figures: v.figures(j.Evidence)}
	if j.Raise != nil {
		out.Raised = "no"
		if *j.Raise {
			out.Raised = "yes"
		}
	}
	for i := range j.Limits {
		l := &j.Limits[i]
		out.Limits = append(out.Limits, limit{frame.BadgeOf(l.Stage), l.Where(j.Unit), l.State(j.Unit), clean(l.Source), l.On})
	}
	if j.Baseline != nil {
		out.Baseline = english.Sentence(v.said(j.Baseline.Words()))
	}
	for i := range j.Events {
		out.Events = append(out.Events, v.fact(&j.Events[i]))
	}
	return out
}

// figures are what was reckoned with, for people and as the rule asks it.
func (v *told) figures(all []word.Evidence) (out []figure) {
	for _, e := range alarm.EvidenceIn(all, v.by.Units()) {
		f := figure{Asked: english.OneLine(e.Of)}
		what, yes := e.Told()
		f.What = v.by.Ours(what)
		f.Value = strings.TrimSpace(english.FourFigures(e.Value) + " " + english.Unit(e.Unit))
		if yes {
			f.Value = map[bool]string{true: "yes", false: "no"}[e.Value != 0]
		}
		if f.Note = v.said(e.Note); f.Note == f.Value {
			f.Note = ""
		}
		if f.What == f.Asked {
			f.Asked = ""
		}
		out = append(out, f)
	}
	return out
}

// fact is an event with where it is told of.
func (v *told) fact(e *recall.Event) fact {
	f := fact{What: english.Capital(v.said(e.What))}
	if !e.Time.IsZero() {
		f.On = v.by.Day(e.Time.In(v.where))
	}
	if e.ID != nil {
		f.Source = handover.SourceOf(e.ID)
		f.Entry = v.entryPath(*e.ID)
	}
	return f
}

// entryPath is where an event stands in the history.
func (v *told) entryPath(id event.ID) string {
	return v.path("history") + query("source", id.Source, "id", id.ID)
}

// answers are what can be answered to it.
func (v *told) answers(y *why.Why) (out []frame.Link) {
	add := func(words, answer, of string) {
		out = append(out, v.answered(words, answer, of, y.Rule, y.Component, y.Stage)...)
	}
	switch y.Standing {
	case alarm.Unacknowledged:
		add("Acknowledge", "acknowledge", "rule")
		add("Put aside", "shelve", "rule")
	case alarm.Acknowledged:
		add("Put aside", "shelve", "rule")
	case alarm.Returned:
		add("Acknowledge", "acknowledge", "rule")
	case alarm.Shelved:
		add("Bring back", "unshelve", "rule")
	}
	if y.Due != nil && y.DoesNotApply == "" && v.OutSince == "" {
		out = append(out, v.offered(rights.Work, "Enter it", v.path("work")+query("task", y.Rule, "component", y.Component))...)
		if !y.Due.FollowUp && !v.statutory(y) {
			add("Postpone", "postpone", "task")
		}
	}
	return out
}

// statutory reports whether the law asks for the work.
func (v *told) statutory(y *why.Why) bool {
	return slices.ContainsFunc(v.Tasks, func(i due.Item) bool { return i.Task == y.Rule && i.Component == y.Component && i.Statutory })
}
