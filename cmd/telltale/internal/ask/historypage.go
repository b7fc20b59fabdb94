package ask

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"maps"
	"slices"
	"strings"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/notify"
	"telltale/rules/english"
)

//go:embed history.html
var historyHTML string

var historyTemplate = template.Must(template.New("history").Funcs(template.FuncMap{
	"one": func(s string) string { return cli.Printable(english.OneLine(s)) }, "meters": metersLine, "quantity": english.Quantity,
	"source": eventOf, "stage": notify.StageHead, "name": alarmName, "said": openText,
}).Parse(historyHTML))

// handOver is a vehicle's history as it is handed over with it: what was done and found,
// what is open, and the rest in short.
type handOver struct {
	Vehicle, From, To string
	Register          *event.VehicleData
	Meters            []history.Entry // the last value of each that was read by itself
	Work, Samples     []history.Entry
	Open              []history.Entry // the alarms that are active
	Answers, Readings []history.Entry
	Alarms            []course
}

// course is what became of one alarm over all the time.
type course struct {
	What, First, Last string // its name, and the dates of the first and the last change
	Worst             alarm.Stage
	Raised            int
	Now               alarm.Stage
}

// historyPage writes the history as a page that loads nothing and prints on A4.
func historyPage(w io.Writer, list []history.Entry) error {
	if err := historyTemplate.Execute(w, handOverOf(list)); err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return nil
}

func handOverOf(list []history.Entry) *handOver {
	p := &handOver{Vehicle: list[0].Vehicle, Register: cmp.Or(list[0].Register, &event.VehicleData{Name: list[0].Vehicle})}
	var alarms []history.Entry
	for _, e := range list[1:] {
		if p.From == "" {
			p.From = e.Date
		}
		p.From, p.To = min(p.From, e.Date), max(p.To, e.Date)
		switch e.What {
		case history.WhatWork, history.WhatReplaced:
			p.Work = append(p.Work, e)
		case history.WhatSample:
			p.Samples = append(p.Samples, e)
		case history.WhatReading:
			p.Readings = append(p.Readings, e)
		case history.WhatAlarm:
			alarms = append(alarms, e)
		default:
			p.Answers = append(p.Answers, e)
		}
	}
	p.Meters = lastOfEach(p.Readings)
	p.Alarms, p.Open = courses(alarms)
	return p
}

// lastOfEach are the last values of the meters that were read and not doubted, by name.
func lastOfEach(readings []history.Entry) []history.Entry {
	last := map[string]history.Entry{}
	for _, e := range readings {
		for name := range e.Meters {
			if !e.TakenOut && len(e.Doubts) == 0 {
				last[name] = e
			}
		}
	}
	var out []history.Entry
	for _, name := range slices.Sorted(maps.Keys(last)) {
		out = append(out, last[name])
	}
	return out
}

// courses sums alarms up by what they are of, in order of their first change; open are
// those that are active, the worst first, as they were told last.
func courses(alarms []history.Entry) (all []course, open []history.Entry) {
	at := map[alarm.Key]int{}
	var last []history.Entry
	for _, e := range alarms {
		t := e.Alarm
		if t == nil {
			continue
		}
		k := alarm.Key{Rule: t.Rule, Component: t.Component}
		i, there := at[k]
		if !there {
			i = len(all)
			at[k] = i
			all, last = append(all, course{What: alarmName(t), First: e.Date, Worst: t.To}), append(last, e)
		}
		c := &all[i]
		c.Last, c.Now, last[i] = e.Date, t.To, e
		if stageOrder(t.To) < stageOrder(c.Worst) {
			c.Worst = t.To
		}
		if t.Transition == alarm.Raised {
			c.Raised++
		}
	}
	for i, c := range all {
		if c.Now != alarm.Normal {
			open = append(open, last[i])
		}
	}
	slices.SortStableFunc(open, func(a, b history.Entry) int {
		return cmp.Compare(stageOrder(a.Alarm.To), stageOrder(b.Alarm.To))
	})
	return all, open
}

// alarmName is what an alarm is called, and of which component.
func alarmName(t *alarm.Transition) string {
	name := english.Capital(cmp.Or(t.Title, t.Rule))
	if t.Component != "" {
		name += " (" + t.Component + ")"
	}
	return name
}

// Times is how often it was raised, in words.
func (c course) Times() string {
	if c.Raised < 2 {
		return "once"
	}
	return fmt.Sprintf("%d times", c.Raised)
}

// openText is what an active alarm says, without the name that stands before it.
func openText(t *alarm.Transition) string {
	return strings.TrimPrefix(t.Message, cmp.Or(t.Title, t.Rule)+": ")
}
