package enter

import (
	"cmp"
	"context"
	"html/template"
	"net/url"
	"slices"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/notify/board/entry"
	"telltale/notify/board/form"
	"telltale/notify/board/frame"
	"telltale/notify/rights"
	"telltale/notify/wording"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// reply is one answer that can be given, and what it does.
type reply struct {
	Name string // of the event
	Verb string // on its button
	Says string // what it does, in a sentence
}

// replies are all of them, in the order in which they are offered.
var replies = []reply{
	{"acknowledge", "Acknowledge", "You have seen it: there are no more reminders, unless it becomes worse."},
	{"shelve", "Put aside", "It leaves the lists until a day, and comes back sooner if it becomes worse."},
	{"unshelve", "Bring back", "It comes back onto the lists now."},
	{"postpone", "Postpone", "The work is due later, for a reason: by one interval at most."},
	{"accept", "Accept the offer", "The work moves to where the latest sample has it."},
	{"out of service", "Take out of service", "There are no messages about it until it is back."},
	{"in service", "Put back into service", "Everything is checked at once, and what came due meanwhile is told."},
	{"not mine", "Not my vehicle", "The operator hears that this vehicle is not yours."},
}

const (
	wordNothing   = "There is nothing to answer."
	wordOver      = "This alarm is closed, or was never there. There is nothing to do."
	wordStatutory = "The law asks for this work, so it cannot be postponed."
	wordLower     = "The lower readings are right, and the meter goes on from there."
)

// question is what an answer is about: an alarm that stands, a task, or the whole vehicle.
type question struct {
	*asked
	rule, component string
	alarm           *alarm.Listed // nil where none stands
	task            *due.Item     // nil where it is none
	offer           string        // what a sample offers for the task; "" where none does
}

// question is what the address asks about: rule= or task=, and component=.
func (a *asked) question() *question {
	v := a.r.URL.Query()
	q := &question{asked: a, rule: v.Get("rule") + v.Get("task"), component: v.Get("component")}
	mine := func(component string) bool { return q.component == "" || component == q.component }
	for i := range a.is.Alarms {
		if s := &a.is.Alarms[i]; s.Rule == q.rule && mine(s.Component) && q.alarm == nil {
			q.alarm = s
		}
	}
	for i := range a.is.Tasks {
		if t := &a.is.Tasks[i]; t.Task == q.rule && mine(t.Component) && q.task == nil {
			q.task = t
		}
	}
	for i := range a.is.Samples {
		if s := &a.is.Samples[i]; s.Offer != nil && s.Offer.Task == q.rule && mine(s.Component) {
			q.offer = s.Offer.Says
		}
	}
	return q
}

// offered are the answers that make sense now.
func (q *question) offered() (out []reply) {
	shelved := q.alarm != nil && q.alarm.Standing == alarm.Shelved
	makesSense := map[string]bool{
		"acknowledge": q.alarm != nil && q.alarm.Standing == alarm.Unacknowledged && !shelved,
		"shelve":      q.alarm != nil && q.alarm.To != alarm.Normal && !shelved,
		"unshelve":    shelved,
		"postpone":    q.task != nil && !q.task.Statutory && !q.task.FollowUp,
		"accept":      q.offer != "" || q.alarm != nil && q.rule == doubt.GoingBack,
	}
	if q.rule == "" {
		out := q.is.OutSince != ""
		makesSense = map[string]bool{"out of service": !out, "in service": out, "not mine": true}
	}
	for _, r := range replies {
		if makesSense[r.Name] && q.r.MayHere(q.needs(r.Name, q.rule, q.component), q.Vehicle) {
			if r.Name == "accept" && q.offer == "" {
				r.Verb, r.Says = "Accept the lower readings", wordLower
			}
			out = append(out, r)
		}
	}
	return out
}

// needs is what an answer to it needs: to put aside what stands as a warning, on any of the
// components that may be meant, is not for everybody.
func (q *question) needs(answer, rule, component string) rights.Verb {
	return rights.OfAnswer(answer, slices.ContainsFunc(q.is.Alarms, func(s alarm.Listed) bool {
		return s.Rule == rule && s.To == alarm.Warning && (component == "" || s.Component == component)
	}))
}

// about says what is answered, as lists say it.
func (q *question) about() (title, text string) {
	reader := wording.Reader{Person: q.r.Viewer.Person}.On(q.is.Reads)
	switch {
	case q.alarm != nil && !q.alarm.Task:
		it := reader.Alarm(q.alarm)
		return english.Capital(it.What), english.Sentences(it.Strong, it.Lines[0].Text)
	case q.task != nil:
		it := reader.Work(reader.SaidOf(q.task), q.is.Today)
		return it.What, english.Sentences(it.Lines[0].Text, it.Strong)
	case q.alarm != nil:
		it := reader.Alarm(q.alarm)
		return it.What, it.Lines[0].Text
	}
	return q.Title(), ""
}

// answer takes what somebody says of an alarm, of work or of the whole vehicle. Without an
// answer in its address it lists those that there are.
func (s site) answer(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	a, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	q := a.question()
	if named := r.URL.Query().Get("answer"); slices.ContainsFunc(replies, func(o reply) bool { return o.Name == named }) {
		if err := s.May(r, q.needs(named, q.rule, q.component), a.Vehicle); err != nil {
			return nil, err
		}
	}
	offered := q.offered()
	i := slices.IndexFunc(offered, func(o reply) bool { return o.Name == r.URL.Query().Get("answer") })
	if i < 0 || q.rule != "" && q.alarm == nil && q.task == nil {
		// An answer that was sent before makes no sense any more: the desk knows it.
		sent := slices.IndexFunc(replies, func(o reply) bool { return o.Name == r.URL.Query().Get("answer") })
		if !a.form.Typed() || sent < 0 {
			return q.choose(offered)
		}
		return s.take(ctx, r, q, replies[sent])
	}
	return s.take(ctx, r, q, offered[i])
}

// choose is the page of the answers that there are.
func (q *question) choose(offered []reply) (*frame.Page, error) {
	type way struct{ Path, Verb, Says string }
	data := struct {
		Text string
		Ways []way
	}{}
	title, text := q.about()
	p := q.page(title)
	p.Section, p.Work, data.Text = frame.Standing, true, text
	if len(offered) == 0 {
		p.Lead = wordNothing
		if q.alarm == nil && q.task == nil {
			p.Title, p.Lead = wordNothing, wordOver
		}
	}
	if q.task != nil && q.task.Statutory {
		data.Text = english.Sentences(text, wordStatutory)
	}
	for _, o := range offered {
		v := url.Values{"answer": {o.Name}}
		if q.rule != "" {
			v.Set("rule", q.rule)
		}
		if q.component != "" {
			v.Set("component", q.component)
		}
		data.Ways = append(data.Ways, way{frame.Path("v", q.ID, "answer") + "?" + v.Encode(), o.Verb, o.Says})
	}
	var err error
	p.Body, err = templates.Body("choose", data)
	return &p, err
}

// answerFields are those of an answer; nil what it does not ask for.
type answerFields struct {
	Until, Further, Why *form.Field
	Text, Says          string
}

// fields are those that an answer asks for.
func (q *question) fields(o reply) answerFields {
	f := q.form
	d := answerFields{Why: f.Field("why", "Why, or what was found (optional)")}
	switch o.Name {
	case "shelve":
		stage := alarm.Normal
		if q.alarm != nil {
			stage = q.alarm.To
		}
		most := alarm.ShelfDays(stage)
		d.Until = f.Field("until", "Until").Before(f.DayAfter(min(most, 14))).Within(f.DayAfter(1), f.DayAfter(most)).Need()
		d.Until.Reason = wording.ShelfLimit(stage)
		d.Until.Hint = english.Sentence(wording.ShelfLimit(stage))
		d.Why.Label = "Why"
		if stage == alarm.Warning {
			d.Why.Needed, d.Why.Missing = true, wording.NoReason
		}
	case "postpone":
		d.Until = f.Field("until", "Until a day").Within(f.Today(), "")
		if q.task != nil && q.task.DueAt != nil && q.task.Unit == "m" {
			d.Further = f.Field("further", "Or how much further").In(f.OwnFirst(unit.Distance)...)
		}
		d.Why.Label, d.Why.Needed = "Why", true
	}
	return d
}

// take shows the form of an answer, and takes it.
func (s site) take(ctx context.Context, r *frame.Request, q *question, o reply) (*frame.Page, error) {
	d := q.fields(o)
	title, text := q.about()
	d.Text, d.Says = text, english.Sentences(o.Says, q.offer)
	a := job.Answer{Vehicle: q.ID, Answer: o.Name, About: q.rule, Component: q.component, By: r.Viewer.ID, Why: d.Why.Text()}
	if d.Until != nil {
		a.Until = d.Until.Day()
	}
	if d.Further != nil {
		a.Further = form.Typed(d.Further.Quantity(unit.Distance, entry.MostMetres))
	}
	if o.Name == "postpone" && (a.Until == "") == (a.Further == "") && len(q.form.Faults()) == 0 {
		d.Until.Fault("give a day, or how much further: one of the two")
	}
	p := q.page(o.Verb + ": " + title)
	if title == q.Title() {
		p = q.page(o.Verb)
	}
	p.Section = frame.Standing
	return s.Serve(ctx, r, &entry.Entry{
		Form: q.form, Vehicle: q.Vehicle, Page: p, Verb: o.Verb,
		Events: func() ([]event.Event, error) {
			known, err := s.knownWith(ctx, q.asked)
			if err != nil {
				return nil, err
			}
			ev, err := a.Event(known, q.is.Alarms)
			if err != nil {
				return nil, err
			}
			d := ev.Data.(*event.AnswerData)
			q.noLonger(d)
			// Only now is it known which alarm is meant: its title names it too.
			return []event.Event{ev}, s.May(r, q.needs(o.Name, cmp.Or(d.Rule, d.Task), d.Component), q.Vehicle)
		},
		Fields: func() (template.HTML, error) { return templates.Body("answer", d) },
	})
}

// noLonger puts an alarm aside no longer than its stage allows: on the last day, until the
// hour of the answer.
func (q *question) noLonger(d *event.AnswerData) {
	until, err := time.Parse(time.RFC3339, d.Until)
	if d.Answer != "shelve" || err != nil || q.alarm == nil {
		return
	}
	if last := q.r.Now.AddDate(0, 0, alarm.ShelfDays(q.alarm.To)).Truncate(time.Second); until.After(last) {
		d.Until = last.UTC().Format(time.RFC3339)
	}
}
