package intake

import (
	"fmt"
	"reflect"
	"slices"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// answers are what can be answered, with the fields that each needs and those that it
// may have, beside by and why.
var answers = []struct {
	name       string
	needs, may []string
}{
	{"acknowledge", []string{"rule"}, []string{"component"}}, // of a task's alarm the rule is the task's name
	{"shelve", []string{"rule"}, []string{"component", "until"}},
	{"unshelve", []string{"rule"}, []string{"component"}},
	{"out of service", nil, nil},
	{"in service", nil, nil},
	{"not mine", []string{"by"}, nil}, // who hears of a vehicle that is not theirs
	{"postpone", []string{"task"}, []string{"component", "until", "byDistance"}},
	{"accept", []string{"task", "by"}, []string{"component"}}, // the point that a sample's forecast offers; how far that is the record knows
}

// AnswerNames are the answers that there are.
func AnswerNames() (out []string) {
	for _, a := range answers {
		out = append(out, a.name)
	}
	return out
}

// AnswerTo is what an answer of that name is given to: a "rule", of an alarm that stands,
// a "task", or the whole vehicle (""); ok is false where there is no such answer.
func AnswerTo(name string) (to string, ok bool) {
	for _, a := range answers {
		if a.name != name {
			continue
		}
		for _, to := range []string{"rule", "task"} {
			if slices.Contains(a.needs, to) {
				return to, true
			}
		}
		return "", true
	}
	return "", false
}

func checkAnswer(ev event.Event, d *event.AnswerData) error {
	err := first(
		checkOptional("data.rule", d.Rule),
		checkOptional("data.component", d.Component),
		checkOptional("data.task", d.Task),
		checkOptional("data.by", d.By),
	)
	if err != nil {
		return err
	}
	var names []string
	for _, a := range answers {
		if a.name == "accept" && d.Rule != "" { // that the lower readings of a meter that went back are right
			a.needs, a.may = []string{"rule", "by"}, nil
		}
		if a.name == d.Answer {
			return checkFields(ev, d, a.needs, slices.Concat(a.needs, a.may, []string{"answer", "by", "why"}))
		}
		names = append(names, a.name)
	}
	return within("data.answer", oneOf(d.Answer, names...))
}

// checkFields asks for what an answer needs, and refuses what means nothing in it.
func checkFields(ev event.Event, d *event.AnswerData, needs, may []string) error {
	idle := ""
	for _, f := range answerFields {
		given := !reflect.ValueOf(f.In(d)).Elem().IsZero()
		if !given && slices.Contains(needs, f.Path) {
			return refuse("data."+f.Path, "missing")
		}
		if given && !slices.Contains(may, f.Path) && (idle == "" || f.Path < idle) {
			idle = f.Path
		}
	}
	switch {
	case idle != "":
		return refuse("data."+idle, "has no meaning in %s; leave it out", d.Answer)
	case d.Answer == "shelve":
		return checkShelve(ev, d)
	case d.Answer == "postpone":
		return checkPostpone(ev, d)
	}
	return nil
}

func checkShelve(ev event.Event, d *event.AnswerData) error {
	if d.Until == "" {
		return refuse("data.until", "missing; an alarm is shelved until an RFC 3339 time")
	}
	t, err := parseTime(d.Until)
	if err == nil && !t.After(ev.Time) {
		err = fmt.Errorf("%s is not later than the event's time", d.Until)
	}
	return within("data.until", err)
}

func checkPostpone(ev event.Event, d *event.AnswerData) error {
	switch {
	case d.Why == "":
		return refuse("data.why", "missing; give a reason for postponing the task")
	case (d.Until == "") == (d.ByDistance == nil):
		return refuse("data", "a task is postponed either until a date or byDistance")
	case d.ByDistance != nil:
		return checkSome("data.byDistance", "a distance", "0 postpones nothing", *d.ByDistance, unit.Distance)
	}
	t, err := parseDate(d.Until)
	if err == nil && t.Before(ev.Time.Add(-2*day)) { // whatever the vehicle's zone
		err = fmt.Errorf("%s is before the event's time", d.Until)
	}
	return within("data.until", err)
}

func checkVoid(ev event.Event, d *event.VoidData) error {
	switch {
	case d.Source == "":
		return refuse("data.source", "missing; name the source of the event to void")
	case d.ID == "":
		return refuse("data.id", "missing; name the id of the event to void")
	case event.ID(*d) == ev.ID:
		return refuse("data", "a void cannot name itself")
	}
	return nil
}
