package main

import (
	"telltale/engine/event"
)

// check is what work opens: a look before the vehicle is released, or one after it
// has run some way.
type check struct {
	task, component string
	km, hours       float64 // run since the work; neither: in the afternoon of it
	note            string
}

// checksOf are those of a task, in the order in which they are done. The look after a
// drain of a transmission is told with it.
var checksOf = map[string][]check{
	"engine oil": {
		{task: "engine release check", component: "engine", note: "level right, dry with the engine warm"},
		{task: "engine leak check", component: "engine", km: 300, note: "dry"},
	},
	"gritter engine oil": {
		{task: "gritter release check", component: "engine", note: "level right, dry with the engine warm"},
		{task: "gritter leak check", component: "engine", hours: 10, note: "dry"},
	},
	"transmission fluid": {{task: "transmission release check", component: "transmission", note: "level right at temperature"}},
	"brake fluid": {
		{task: "brake release check", note: "pedal firm, all bleeders dry"},
		{task: "brake fluid check", km: 300, note: "dry, pedal firm"},
	},
	"coolant": {
		{task: "coolant release check", component: "cooling", note: "dry, level right when cold again"},
		{task: "coolant level check", component: "cooling", km: 300, note: "level right, cold"},
	},
	"hydraulic oil": {
		{task: "hydraulic release check", component: "hydraulics", note: "level right, dry under pressure"},
		{task: "hydraulic leak check", component: "hydraulics", hours: 10, note: "dry"},
	},
}

// checkNames are the names of all looks that a task opens.
func checkNames(task string) []string {
	var out []string
	for _, c := range checksOf[task] {
		out = append(out, c.task)
	}
	if task == "transmission fluid" {
		out = append(out, "leak check")
	}
	return out
}

// checks records those of a task done on a day, as far as the year goes.
func (y *year) checks(v *vehicle, task string, from int) {
	for _, c := range checksOf[task] {
		s := event.ServiceData{Tasks: []string{c.task}, Component: c.component, Note: c.note}
		if c.km == 0 && c.hours == 0 {
			y.serviceAt(v, from, 15, s)
			continue
		}
		for day := from + 1; day <= lastDay; day++ {
			if workday(day) && v.km(day) >= v.km(from)+c.km && v.running(day) >= v.running(from)+c.hours {
				y.service(v, day, s)
				break
			}
		}
	}
}

// withIt is a task with what the workshop does along with it, since the vehicle is there.
func withIt(task string) []string {
	if task == "annual test" {
		return []string{task, "battery test", "meter comparison", "air filter"}
	}
	return []string{task}
}
