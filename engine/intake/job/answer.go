package job

import (
	"fmt"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules/unit"
)

// Answer is what a person says to an alarm or a task, as it is typed. About is its name
// or title; "" in an answer to the whole vehicle.
type Answer struct {
	Vehicle, Answer, About, Component string
	Until, Further, By, Why           string
}

// asideFrom is the hour of the day, in the vehicle's zone, at which what was put aside
// until a date comes back.
const asideFrom = 8 * time.Hour

// Event is the answer's event, checked, given now. stands are the vehicle's alarms.
func (a Answer) Event(k Known, stands []alarm.Listed) (ev event.Event, err error) {
	d := &event.AnswerData{Answer: a.Answer, Component: a.Component, By: a.By, Why: a.Why}
	to, ok := intake.AnswerTo(a.Answer)
	if !ok {
		return ev, &Error{Fault: NoSuchName, Name: a.Answer, Have: intake.AnswerNames(), text: fmt.Sprintf("there is no answer %q", a.Answer)}
	}
	if strings.HasPrefix(a.About, "data:") {
		to = "rule" // of an alarm on the data there is no task
	}
	switch to {
	case "rule":
		d.Rule, err = a.alarmMeant(stands)
	case "task":
		d.Task, err = Meant(a.Vehicle, TasksOf(k.Has), a.About)
	}
	if err == nil && a.Component != "" {
		d.Component, err = ComponentMeant(a.Vehicle, k.Registered, a.Component)
	}
	if err == nil {
		err = a.limits(d, k)
	}
	if err != nil {
		return ev, err
	}
	return k.named(event.Event{Kind: event.AnswerEvent, Vehicle: a.Vehicle, Time: k.Now.UTC().Truncate(time.Second), Data: d})
}

// alarmMeant is the rule, or the task, of the alarm that is meant.
func (a Answer) alarmMeant(stands []alarm.Listed) (string, error) {
	names := map[string][]string{}
	for i := range stands {
		names[stands[i].Rule] = append(names[stands[i].Rule], stands[i].Rule, stands[i].Title)
	}
	return meant(names, a.About, fmt.Sprintf("%s has no active alarm %q", a.Vehicle, a.About))
}

// limits sets until when, or how much further.
func (a Answer) limits(d *event.AnswerData, k Known) error {
	if a.Further != "" {
		q, err := quantity("further", a.Further, unit.Distance, k.Reads)
		if err != nil {
			return err
		}
		d.ByDistance = q
	}
	if a.Answer == "postpone" && (a.Until == "") == (a.Further == "") {
		return &Error{Fault: NoLimit, Option: "until", text: "until a date or --further a distance is needed, one of the two"}
	}
	if a.Answer == "postpone" && a.Why == "" {
		return &Error{Fault: NoReason, Option: "why", text: "why is missing: work is postponed for a reason"}
	}
	if a.Until == "" {
		if a.Answer == "shelve" {
			return &Error{Fault: NoLimit, Option: "until", text: "until is missing: an alarm is put aside until a date"}
		}
		return nil
	}
	day, err := time.ParseInLocation(time.DateOnly, a.Until, k.Registered.Location())
	if err != nil {
		return &Error{Fault: NoDate, Option: "until", text: fmt.Sprintf("until %q is not a date", a.Until)}
	}
	if d.Until = a.Until; a.Answer == "shelve" {
		at := day.Add(asideFrom)
		if !at.After(k.Now) {
			return &Error{Fault: Past, Option: "until", text: "until " + a.Until + " is not in the future"}
		}
		d.Until = at.Format(time.RFC3339)
	}
	return nil
}

// Void takes an event of a vehicle out.
func Void(vehicle string, of event.ID, k Known) (event.Event, error) {
	d := event.VoidData(of)
	return k.named(event.Event{Kind: event.VoidEvent, Vehicle: vehicle, Time: k.Now.UTC().Truncate(time.Second), Data: &d})
}

// Replaced is an instrument that took the place of another, as it is typed.
type Replaced struct{ Vehicle, Meter, Old, New, On string }

// Event is the event of it, checked.
func (r Replaced) Event(k Known) (ev event.Event, err error) {
	at, err := k.when(r.On)
	if err != nil {
		return ev, err
	}
	j := Job{Vehicle: r.Vehicle}
	option := r.Meter
	if option != Odometer && option != Hours {
		option = ""
	}
	name, kind, err := j.meter(Meter{Name: r.Meter, Option: option}, k.Registered.Meters)
	if err != nil {
		return ev, err
	}
	if len(k.Registered.Meters) > 0 {
		names := map[string][]string{}
		for _, m := range k.Registered.Meters {
			names[m.Name] = []string{m.Name}
		}
		if name, err = meant(names, name, fmt.Sprintf("%s has no meter %q", r.Vehicle, name)); err != nil {
			return ev, err
		}
	}
	d := &event.MeterReplacedData{Meter: name}
	for _, v := range []struct {
		option, text string
		into         *unit.Quantity
	}{{"old", r.Old, &d.Last}, {"new", r.New, &d.First}} {
		q, err := quantity(v.option, v.text, kind, k.Reads)
		if err != nil {
			return ev, err
		}
		*v.into = *q
	}
	return k.named(event.Event{Kind: event.MeterReplacedEvent, Vehicle: r.Vehicle, Time: at, Data: d})
}
