package intake

import (
	"telltale/engine"
	"telltale/rules/unit"
)

func checkAnswer(ev engine.Event, d *engine.AnswerData) error {
	err := first(
		checkOptional("data.rule", d.Rule),
		checkOptional("data.component", d.Component),
		checkOptional("data.task", d.Task),
		checkOptional("data.by", d.By),
	)
	if err != nil {
		return err
	}
	switch d.Answer {
	case "acknowledge", "unshelve":
		return checkAlarmAnswer(d)
	case "shelve":
		return checkShelve(ev, d)
	case "out of service", "in service":
		return mustBeEmpty(d.Answer, map[string]bool{
			"rule": d.Rule != "", "component": d.Component != "", "task": d.Task != "",
			"until": d.Until != "", "byDistance": d.ByDistance != nil,
		})
	case "not mine":
		return checkNotMine(d)
	case "postpone":
		return checkPostpone(ev, d)
	case "accept":
		return checkAccept(d)
	}
	err = oneOf(d.Answer, "acknowledge", "shelve", "unshelve", "out of service", "in service", "not mine", "postpone", "accept")
	return refuse("data.answer", "%v", err)
}

// checkNotMine is for who hears of a vehicle that is not theirs.
func checkNotMine(d *engine.AnswerData) error {
	if err := checkName("data.by", d.By); err != nil {
		return err
	}
	return mustBeEmpty(d.Answer, map[string]bool{
		"rule": d.Rule != "", "component": d.Component != "", "task": d.Task != "",
		"until": d.Until != "", "byDistance": d.ByDistance != nil,
	})
}

// checkAlarmAnswer is for answers to one alarm; a task's alarm has the task's name
// for its rule.
func checkAlarmAnswer(d *engine.AnswerData) error {
	if err := checkName("data.rule", d.Rule); err != nil {
		return err
	}
	return mustBeEmpty(d.Answer, map[string]bool{
		"task": d.Task != "", "until": d.Until != "", "byDistance": d.ByDistance != nil,
	})
}

func checkShelve(ev engine.Event, d *engine.AnswerData) error {
	until := d.Until
	rest := *d
	rest.Until = ""
	if err := checkAlarmAnswer(&rest); err != nil {
		return err
	}
	if until == "" {
		return refuse("data.until", "missing, an alarm is shelved until an RFC 3339 time")
	}
	t, err := parseTime(until)
	if err != nil {
		return refuse("data.until", "%v", err)
	}
	if !t.After(ev.Time) {
		return refuse("data.until", "%s is not later than the event's time", until)
	}
	return nil
}

func checkPostpone(ev engine.Event, d *engine.AnswerData) error {
	err := first(
		checkName("data.task", d.Task),
		mustBeEmpty(d.Answer, map[string]bool{"rule": d.Rule != ""}),
	)
	switch {
	case err != nil:
		return err
	case d.Why == "":
		return refuse("data.why", "missing, a task is postponed for a reason")
	case (d.Until == "") == (d.ByDistance == nil):
		return refuse("data", "a task is postponed either until a date or byDistance")
	case d.ByDistance != nil:
		return checkByDistance(*d.ByDistance)
	}
	t, err := parseDate(d.Until)
	if err != nil {
		return refuse("data.until", "%v", err)
	}
	if t.Before(ev.Time.Add(-2 * day)) { // whatever the vehicle's zone
		return refuse("data.until", "%s is before the event's time", d.Until)
	}
	return nil
}

// checkAccept is for the point that a sample's forecast offers for a task; how far
// that is the record knows.
func checkAccept(d *engine.AnswerData) error {
	return first(
		checkName("data.task", d.Task),
		checkName("data.by", d.By),
		mustBeEmpty(d.Answer, map[string]bool{"rule": d.Rule != "", "until": d.Until != "", "byDistance": d.ByDistance != nil}),
	)
}

func checkByDistance(q unit.Quantity) error {
	if err := checkQuantity("data.byDistance", "a distance", q, unit.Distance); err != nil {
		return err
	}
	if q.Value == 0 {
		return refuse("data.byDistance.value", "0 postpones nothing")
	}
	return nil
}

func checkVoid(ev engine.Event, d *engine.VoidData) error {
	switch {
	case d.Source == "":
		return refuse("data.source", "missing, name the source of the event to void")
	case d.ID == "":
		return refuse("data.id", "missing, name the id of the event to void")
	case engine.ID(*d) == ev.ID:
		return refuse("data", "a void cannot name itself")
	}
	return nil
}
