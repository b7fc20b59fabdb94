package notify

import (
	"reflect"
	"testing"

	"telltale/engine/alarm"
	"telltale/rules/unit"
)

// The day that goes into a person's calendar, by where a task stands.
func TestDueOn(t *testing.T) {
	task := func(change func(*alarm.Transition)) alarm.Transition {
		tr := alarm.Transition{Time: at("2031-04-22T06:00:00Z"), Vehicle: "bus-07", Component: "engine", Rule: "oil", Title: "Change the oil",
			Task: true, Transition: "raised", From: "normal", To: "soon", Due: &alarm.DuePoint{On: "2031-04-22", Limit: "time", Date: "2031-05-13"}}
		change(&tr)
		return tr
	}
	ines := readerOf(directory(t).Person("ines"))
	for name, c := range map[string]struct {
		tr   alarm.Transition
		day  string // "" for none
		over bool
	}{
		"by the calendar": {task(func(*alarm.Transition) {}), "2031-05-13", false},
		"by distance, likely before the calendar's day": {task(func(t *alarm.Transition) {
			t.Due.Limit, t.Due.Likely, t.Due.At = "distance", "2031-05-02", &unit.Quantity{Value: 90000, Unit: "km"}
		}), "2031-05-02", false},
		"by distance, with a calendar that comes first": {task(func(t *alarm.Transition) { t.Due.Limit, t.Due.Likely = "distance", "2031-06-02" }), "2031-05-13", false},
		"a likely day alone":                            {task(func(t *alarm.Transition) { t.Due.Limit, t.Due.Date, t.Due.Likely = "hours", "", "2031-06-02" }), "2031-06-02", false},
		"today":                                         {task(func(t *alarm.Transition) { t.To, t.Due.Date = "due", "2031-04-22" }), "2031-04-22", false},
		"a day that lies behind":                        {task(func(t *alarm.Transition) { t.To, t.Due.Date = "overdue", "2031-04-21" }), "", false},
		"nobody knows":                                  {task(func(t *alarm.Transition) { t.Due = &alarm.DuePoint{Limit: "no history"} }), "", false},
		"done, and next year": {task(func(t *alarm.Transition) {
			t.Transition, t.From, t.To, t.Due.Date = "cleared", "due", "normal", "2032-04-22"
		}), "2032-04-22", false},
		"a follow-up that is done": {task(func(t *alarm.Transition) { t.Transition, t.From, t.To, t.Due = "cleared", "overdue", "normal", nil }),
			"2031-04-22", true},
		"not a task": {copperRaised(), "", false},
	} {
		all := newsOf(register, outputs(c.tr))
		d, ok := ines.dueOn(all[0])
		if ok != (c.day != "") || ok && (d.Day != c.day || d.Over != c.over) {
			t.Errorf("%s: got %+v %v", name, d, ok)
		}
		if ok && (d.Key != key("due", "bus-07", "engine", "oil", "ines") || d.Title != "Bus 7, engine: Change the oil" || !d.Said.Equal(c.tr.Time)) {
			t.Errorf("%s: got %+v", name, d)
		}
	}
}

// A letter about a task carries its day, whatever moved it.
func TestLetterCarriesDates(t *testing.T) {
	law := taskOverdue()
	law.To, law.Due = "due", &alarm.DuePoint{On: "2031-02-19", Limit: "time", Date: "2031-02-19"}
	all := Tell(directory(t), register, cause("x"), outputs(copperRaised(), law))
	var days []string
	for _, d := range all[0].Dates {
		days = append(days, d.Title+" "+d.Day)
	}
	if want := []string{"Bus 7: Roadworthiness inspection 2031-02-19"}; !reflect.DeepEqual(days, want) {
		t.Errorf("got %q, want %q", days, want)
	}
}
