package main

import (
	"cmp"
	"math"
	"slices"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// work is what the workshops do as a matter of course, and how often. They go by
// the rules; that the two agree is what keeps most vehicles quiet.
type work struct {
	task, component string
	km, hours       float64
	days            int
	fluid           string
	litres          float64
}

// works is what is done to a vehicle of this kind.
func works(v *vehicle) []work {
	oil := work{task: "engine oil", component: "engine", km: 20000, days: 365, fluid: "5W-30", litres: 7}
	coolant := work{task: "coolant", component: "cooling", days: 1461, fluid: "coolant", litres: 9}
	list := []work{{task: "annual test", days: 365}, {task: "brake fluid", days: 730}}
	switch v.kind {
	case "minibus":
		list = append(list, work{task: "safety inspection", days: 84})
	case "van":
		oil.litres, coolant.litres = 6, 8
	case "gritter":
		oil = work{task: "gritter engine oil", component: "engine", hours: 250, days: 365, fluid: "5W-30", litres: 14}
		coolant.litres = 22
		list = append(list, work{task: "chassis wash and grease", hours: 60},
			work{task: "hydraulic oil", component: "hydraulics", hours: 500, days: 730, fluid: "hydraulic oil", litres: 88})
	}
	if v.kind != "minibus" {
		list = append(list, work{task: "brake inspection", km: 20000, days: 182})
	}
	return append(list, oil, coolant)
}

// done is where a vehicle stood when work was done.
type done struct {
	day       int
	km, hours float64
}

func (v *vehicle) stoodAt(day int) done { return done{day, v.km(day), v.running(day)} }

// left is how far off the next time is: in days, and in km or hours.
func (w work) left(v *vehicle, day int) (days int, meter float64) {
	last := v.done[w.task]
	days, meter = math.MaxInt32, math.Inf(1)
	if w.days > 0 {
		days = last.day + w.days - day
	}
	switch {
	case w.km > 0:
		meter = last.km + w.km - v.km(day)
	case w.hours > 0:
		meter = last.hours + w.hours - v.running(day)
	}
	return days, meter
}

// cards types in when everything was last done, the newest first, as the
// fleet's card index has it. A bus bought used has no card.
func (y *year) cards(v *vehicle) {
	v.done = map[string]done{}
	list := works(v)
	if v.kind == "minibus" {
		list = append(list, work{task: "transmission fluid", component: "transmission", days: 1095})
	}
	for _, w := range list {
		day := 1 - int(float64(w.span(v))*(0.1+float64(0.8*y.dice.Float64())))
		switch {
		case v.inService == "":
			v.done[w.task] = done{} // nobody knows; from here on as if new
			continue
		case v.last[w.task] != "":
			day = on(v.last[w.task])
		case w.task == "annual test":
			day = on("2030-"+v.inService[5:]) - 8
		}
		v.done[w.task] = v.stoodAt(max(day, on(v.inService)))
	}
	if v.kind == "minibus" {
		v.atf = newTransmissionFluid(v.done["transmission fluid"].km)
	}
	if v.inService != "" {
		y.typeIn(v, list)
	}
	if v.tested {
		v.oil = newEngineOil(v.done["engine oil"].km, false)
		if v.kind == "gritter" {
			v.oil = newEngineOil(v.done["gritter engine oil"].hours, true)
		}
	}
}

// span is how many days the interval usually takes.
func (w work) span(v *vehicle) int {
	days := w.days
	if days == 0 {
		days = 400
	}
	perDay := v.perDay * float64(len(v.days)) / 7
	if w.km > 0 && perDay > 0 {
		days = min(days, int(w.km/perDay))
	}
	if w.hours > 0 {
		days = min(days, int(w.hours)) // about an hour a day over the year
	}
	return days
}

func (y *year) typeIn(v *vehicle, list []work) {
	slices.SortStableFunc(list, func(a, b work) int { return cmp.Compare(v.done[b.task].day, v.done[a.task].day) })
	for _, w := range list {
		d := v.done[w.task]
		if names := checkNames(w.task); len(names) > 0 {
			y.typeCard(v, names, w.component, v.stoodAt(min(d.day+10, 0)))
		}
		y.typeCard(v, withIt(w.task), w.component, d)
	}
}

func (y *year) typeCard(v *vehicle, tasks []string, component string, d done) {
	y.typed++
	y.add(v, event.ServiceEvent, y.id("/cards", "c"), at(d.day, 10, 0), at(1, 7, 0).Add(time.Duration(y.typed)*time.Second),
		&event.ServiceData{Tasks: tasks, Component: component, Meters: v.meters(d), By: v.depot + " workshop"})
}

// meters are what the instruments show.
func (v *vehicle) meters(d done) map[string]unit.Quantity {
	m := map[string]unit.Quantity{"odometer": {Value: v.face(d.km, d.day), Unit: "km"}}
	if v.kind == "gritter" {
		m["hour meter"] = unit.Quantity{Value: d.hours, Unit: "h"}
	}
	return m
}

// routine lets the workshop see the vehicle through the year.
func (y *year) routine(v *vehicle) {
	lead := map[string]float64{}
	for day := 2; day <= lastDay; day++ {
		var visit []work
		for _, w := range works(v) {
			if _, drawn := lead[w.task]; !drawn {
				lead[w.task] = y.dice.Float64()
			}
			if y.wanted(v, w, day, lead[w.task]) {
				visit = append(visit, w)
			}
		}
		if len(visit) == 0 {
			continue
		}
		visit = append(visit, y.besides(v, visit, day)...)
		for _, w := range visit {
			delete(lead, w.task)
		}
		y.visit(v, day, visit)
	}
}

// overhaul is the day in summer on which gritters are made ready.
var overhaul = on("09-22")

// wanted reports whether the workshop does it on that day. Most work is done in
// the days before it is due, some when it is due; lead, 0 to 1, is how early.
func (y *year) wanted(v *vehicle, w work, day int, lead float64) bool {
	days, meter := w.left(v, day)
	switch held := v.late[w.task]; {
	case held != "" && day <= on(held):
		return day == on(held) && days < 60
	case v.kind == "gritter" && v.standing(day):
		return day == overhaul && (days < 200 || meter < 100)
	case !workday(day) || v.standing(day):
		return false
	}
	early := float64(0.7*lead) - 0.1 // of the early window; a few are late
	window := map[string]float64{"safety inspection": 10, "annual test": 42, "brake fluid": 30, "coolant": 30}[w.task]
	if w.task == "annual test" {
		early = 0.15 + float64(0.7*lead) // never late
	}
	if window == 0 {
		window = 21
	}
	ahead := 1500.0
	if w.hours > 0 {
		ahead = w.hours / 10
	}
	return float64(days) <= early*window || meter <= early*ahead
}

// besides is what is done with it, since the vehicle is there.
func (y *year) besides(v *vehicle, visit []work, day int) []work {
	var out []work
	for _, w := range works(v) {
		days, meter := w.left(v, day)
		near := days < 8 || w.km > 0 && meter < 500 || w.hours > 0 && meter < w.hours/20
		has := slices.ContainsFunc(visit, func(o work) bool { return o.task == w.task })
		if near && !has && v.late[w.task] == "" {
			out = append(out, w)
		}
	}
	return out
}

// visit records the work of one day: what is done to a component's fluid on a
// card of its own.
func (y *year) visit(v *vehicle, day int, visit []work) {
	var plain []string
	for _, w := range visit {
		v.done[w.task] = v.stoodAt(day)
		if w.fluid == "" {
			plain = append(plain, w.task)
			continue
		}
		if w.component == "engine" && v.oil != nil {
			y.sample(v, sampling{component: "engine", day: day, reported: day + 7 + int(5*y.dice.Float64())})
			v.oil.exchange(1)
		}
		y.service(v, day, event.ServiceData{Tasks: []string{w.task}, Component: w.component, Filter: w.fluid != "coolant",
			Fluid: &event.FluidData{Name: w.fluid, Drained: quantity(w.litres-0.2, "L"), Filled: quantity(w.litres, "L")}})
		y.checks(v, w.task, day)
	}
	var tasks []string
	for _, task := range plain {
		tasks = append(tasks, withIt(task)...)
		y.checks(v, task, day)
	}
	if len(tasks) > 0 {
		y.service(v, day, event.ServiceData{Tasks: tasks})
	}
}

// service records work at ten in the morning, with what the meters show.
func (y *year) service(v *vehicle, day int, s event.ServiceData) event.ID {
	return y.serviceAt(v, day, 10, s)
}

func (y *year) serviceAt(v *vehicle, day, hour int, s event.ServiceData) event.ID {
	s.Meters, s.By = v.meters(v.stoodAt(day)), v.depot+" workshop"
	minute := len(y.events) % 50
	prefix := map[string]string{"north": "N", "south": "S"}[v.depot]
	return y.add(v, event.ServiceEvent, y.id("/workshop/"+v.depot, prefix), at(day, hour, minute), time.Time{}, &s)
}

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
