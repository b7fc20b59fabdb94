package answers

import (
	"errors"
	"strconv"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/notify/board/form"
	"telltale/notify/wording"
	"telltale/rules/unit"
)

const (
	wordNothing  = "There is nothing at this address."
	wordExpired  = "This link has expired. The next message will have a new one."
	wordTrouble  = "That did not work. Please try again in a few minutes."
	wordNoted    = "Thank you. It has been recorded."
	wordStored   = "Thank you. It is stored."
	wordLater    = "The service is busy and has not used it yet. What follows of it will be on the next list."
	wordOver     = "This alarm is closed."
	wordOverLead = "There is nothing to do."
	wordNotMine  = "The operator has been told that this vehicle is not yours."
	wordNotTaken = "It was not taken: %s"
	wordBefore   = "this form was sent before and says something else by now; load the page again to enter it too"
)

// The largest numbers that are taken: metres, seconds and litres.
const (
	mostMetres  = 1e10
	mostSeconds = 1e7 * 3600
	mostLitres  = 1000
)

// asideFrom is the hour of the day, in the vehicle's zone, at which what was put aside comes
// back.
const asideFrom = 8 * time.Hour

// about is what the forms of a page are about, and who fills them in.
type about struct {
	form.Typist
	link       Link
	alarm      alarm.Listed
	registered *event.VehicleData
	tasks      []form.Choice // to tick
}

// forms are those of a page. Each is a form of its own; one of them was sent, or none.
type forms struct {
	Seen  seen
	Aside aside
	Work  work
	Other *form.Form // that it is not their vehicle
}

type seen struct {
	*form.Form
	Why *form.Field
}

type aside struct {
	*form.Form
	Until, Why *form.Field
}

type work struct {
	*form.Form
	Day, Task, Volume, Flush, Why *form.Field
	Meters                        []*form.Field
}

// formsOf are the forms as they are shown, with the one that was sent as it was sent; its
// answer is which it is.
func (a *about) formsOf(answer string, sent *form.Form) forms {
	one := func(of string) *form.Form {
		f := sent
		if sent == nil || of != answer {
			f = form.New(a.Typist)
		}
		f.Part = map[string]string{"shelve": "aside", "done": "work"}[of]
		return f
	}
	return forms{a.seen(one("acknowledge")), a.aside(one("shelve")), a.work(one("done")), one("not mine")}
}

func (a *about) seen(f *form.Form) seen {
	return seen{f, f.Field("why", "Why, or what you will do (optional)")}
}

func (a *about) aside(f *form.Form) aside {
	most := alarm.ShelfDays(a.alarm.To)
	until := f.Field("until", "Until").Before(f.DayAfter(min(most, 14))).Within(f.DayAfter(1), f.DayAfter(most)).Need()
	until.Reason = wording.ShelfLimit(a.alarm.To)
	why := f.Field("why", "Why")
	if a.alarm.To == alarm.Warning {
		why.Needed, why.Missing = true, wording.NoReason
	}
	return aside{f, until, why}
}

func (a *about) work(f *form.Form) work {
	w := work{Form: f, Day: f.Field("day", "On").Before(f.Today()).Within(f.DayAfter(-366), f.Today()).Need()}
	w.Task = f.Field("task", "What was done (tick; optional)")
	if a.alarm.Task {
		w.Task.Label = "Done with it (tick; optional)"
	}
	w.Task.Choices = a.tasks
	for i, m := range a.meters() {
		d := f.Field("meter"+strconv.Itoa(i), m.Name+", if you read it").In(f.OwnFirst(unit.Distance)...)
		if m.Kind == "hours" {
			d.In("h")
		}
		w.Meters = append(w.Meters, d)
	}
	w.Volume = f.Field("volume", "Fluid changed, how much (leave empty if none)").In(f.OwnFirst(unit.Volume)...)
	w.Flush = f.Field("flush", "All of it was replaced by machine (not just drained)")
	w.Why = f.Field("why", "What was found (optional)")
	return w
}

// fluid reports whether the alarm is of a component, which may have fluid.
func (a *about) fluid() bool { return a.link.Component != "" }

// capacity is how much fluid the alarm's component holds; nil where nobody says.
func (a *about) capacity() *unit.Quantity {
	if a.registered != nil {
		if c := a.registered.ComponentNamed(a.link.Component); c != nil {
			return c.Capacity
		}
	}
	return nil
}

func (a *about) meters() []event.MeterDef {
	if a.registered == nil {
		return nil
	}
	return a.registered.Meters
}

// event is what the form that was sent says, and what that does, in a sentence. Where the
// form is not right there is none.
func (a *about) event(answer string, sent *form.Form, all forms) (ev event.Event, done string, ok bool) {
	at := a.Now.UTC().Truncate(time.Second)
	ev = event.Event{ID: event.ID{Source: "/people/" + a.link.Person, ID: "answer-" + sent.ID},
		Kind: event.AnswerEvent, Vehicle: a.link.Vehicle, Time: at, Recorded: at}
	d := &event.AnswerData{Answer: answer, Rule: a.link.Rule, Component: a.link.Component, By: a.link.Person}
	ev.Data = d
	switch answer {
	case "acknowledge":
		d.Why = all.Seen.Why.Text()
		done = "Acknowledged. There will be no more reminders."
	case "shelve":
		done = a.shelve(d, all.Aside)
	case "not mine":
		d.Rule, d.Component, done = "", "", wordNotMine
	case "done":
		ev.Kind, done = event.ServiceEvent, "The work is entered."
		ev.Time, ev.Data = a.service(at, all.Work)
	default:
		sent.Fault("choose one of the answers")
	}
	return ev, done, sent.Right()
}

// shelve puts the alarm aside until the morning of a day, no later than its stage allows.
func (a *about) shelve(d *event.AnswerData, f aside) (done string) {
	day := f.Until.Day()
	d.Why = f.Why.Text()
	morning, err := time.ParseInLocation(time.DateOnly, day, a.Zone)
	if err != nil {
		return ""
	}
	until, last := morning.Add(asideFrom), a.Now.AddDate(0, 0, alarm.ShelfDays(a.alarm.To)).Truncate(time.Second)
	if until.After(last) {
		until = last // the same day, some hours earlier
	}
	d.Until = until.UTC().Format(time.RFC3339)
	return "It is put aside until " + a.Written(day) + ", unless it gets worse."
}

// service is work that was done, on the day given: at its noon, or now where that is
// today.
func (a *about) service(now time.Time, f work) (at time.Time, d *event.ServiceData) {
	day := f.Day.Day()
	if at = now; a.At(day) != "" {
		if morning, err := time.ParseInLocation(time.DateOnly, day, a.Zone); err == nil {
			at = morning.Add(12 * time.Hour).UTC()
		}
	}
	j := job.Job{Said: map[string]string{"component": a.link.Component, "by": a.link.Person, "note": f.Why.Text()}}
	if a.alarm.Task {
		j.Tasks = []string{a.link.Rule}
	}
	j.Tasks = append(j.Tasks, f.Task.All()...)
	for i, m := range a.meters() {
		kind, most := unit.Distance, float64(mostMetres)
		if m.Kind == "hours" {
			kind, most = unit.Time, mostSeconds
		}
		if q := f.Meters[i].Quantity(kind, most); q != nil {
			j.Meters = append(j.Meters, job.Meter{Name: m.Name, Text: form.Typed(q)})
		}
	}
	a.exchanged(&j, f)
	d, err := j.Data(a.meters())
	if e := (*job.Error)(nil); errors.As(err, &e) {
		f.Fault("%s", e.Error())
	}
	return at, d
}

// exchanged notes which fluid was changed. More than the component holds is asked back,
// unless a machine replaced all of it, which takes more.
func (a *about) exchanged(j *job.Job, f work) {
	q := f.Volume.Quantity(unit.Volume, mostLitres)
	if !a.fluid() {
		return
	}
	flush := ""
	if f.Flush.Ticked("yes") {
		flush = "yes"
	}
	j.Said["fluid.drained"], j.Said["fluid.filled"], j.Said["fluid.flush"] = form.Typed(q), form.Typed(q), flush
	if q != nil && flush == "" {
		f.Volume.Over(q, a.capacity(), a.link.Component)
	}
}
