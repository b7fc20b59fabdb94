package due

import (
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/dueword"
	"telltale/engine/event"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/record"
)

// Query says what a due list should hold.
type Query struct {
	Vehicle string // one vehicle; all where empty
	// Ahead also lists what is likely to come due within so many days, beyond
	// what is soon already.
	Ahead int
	// Tag keeps vehicles with that tag, as "depot=north"; all where empty.
	Tag string
	// On is the local date, YYYY-MM-DD, that the list is for, now where empty. For an
	// earlier date it is made from what had been observed by its end; for a later
	// one from what is known, with meters estimated and never shown as read.
	On string
}

// tagged reports whether the query is about vehicles registered like that.
func (q *Query) tagged(reg *event.VehicleData) bool {
	name, value, _ := strings.Cut(q.Tag, "=")
	return q.Tag == "" || reg.Tags[name] == value
}

// List are the lines of one vehicle, in no order that matters.
func List(v *judge.View, q Query) []Item {
	var out []Item
	if q.On != "" {
		v = asOf(v, q.On)
	}
	if reg := v.Rec.Registered(); v.Book == nil || v.Rec.Out || reg == nil || reg.Retired || !q.tagged(reg) {
		return nil
	}
	v.EachTask(func(d *judge.Due, k alarm.Key) {
		v.JudgeDue(d)
		if d.Stage > 0 || ahead(v, d, q.Ahead) {
			out = append(out, dueItem(v, d, k))
		}
	})
	return out
}

// ItemOf is the line of one task, or follow-up, whatever its stage; nil where the vehicle has
// none of that key, or is out of service.
func ItemOf(v *judge.View, of alarm.Key) *Item {
	list := pick(v, func(_ *judge.Due, k alarm.Key) bool { return k == of })
	if len(list) == 0 {
		return nil
	}
	return &list[0]
}

// Postponed are the lines of the tasks that a person has put off and that were not done
// since, whatever their stage.
func Postponed(v *judge.View) []Item {
	return pick(v, func(d *judge.Due, _ alarm.Key) bool { return d.Postponed != nil })
}

// Next is the line of what is to be done first; nil where no date or distance is known of
// anything.
func Next(v *judge.View) *Item {
	var first *Item
	for _, it := range pick(v, func(d *judge.Due, _ alarm.Key) bool { return d.Stage > 0 || ahead(v, d, anyDays) }) {
		if first == nil || compareDue(&it, first) < 0 {
			first = &it
		}
	}
	return first
}

// anyDays is longer than any interval.
const anyDays = 100 * 366

// pick are the lines of the tasks that are wanted, judged.
func pick(v *judge.View, wanted func(*judge.Due, alarm.Key) bool) []Item {
	var out []Item
	if reg := v.Rec.Registered(); v.Book == nil || v.Rec.Out || reg == nil || reg.Retired {
		return nil
	}
	v.EachTask(func(d *judge.Due, k alarm.Key) {
		if v.JudgeDue(d); wanted(d, k) {
			out = append(out, dueItem(v, d, k))
		}
	})
	return out
}

// asOf is the view as of the end of a local date.
func asOf(v *judge.View, on string) *judge.View {
	day, err := interval.ParseDate(on)
	reg := v.Rec.Registered()
	if err != nil || reg == nil {
		return judge.NewView(v.Law, record.Record{Vehicle: v.Rec.Vehicle}, nil)
	}
	then := *v.Law
	then.Now = day.AddDays(1).Start(reg.Location()).Add(-time.Second)
	out := judge.NewView(&then, *v.Rec, v.Kept)
	if then.Now.Before(v.Now) {
		out = judge.NewView(&then, *v.Rec.Until(then.Now.UnixNano()), nil)
	}
	out.Reader, out.Based = v.Reader, v.Based
	return out
}

// ahead reports whether the task is likely to come due within so many days.
func ahead(v *judge.View, d *judge.Due, n int) bool {
	if n <= 0 || d.Waiting || !d.State.HasToday {
		return false
	}
	limit := d.State.Today.AddDays(n)
	return d.Point.HasDate && d.Point.Date.Compare(limit) <= 0 || d.Sure && d.Likely.Compare(limit) <= 0
}

func dueItem(v *judge.View, d *judge.Due, k alarm.Key) Item {
	reg := v.Applied().Reg
	item := Item{
		Vehicle: v.Rec.Shown(), First: v.Rec.First(), Name: reg.Name, Plate: reg.Plate, Tags: reg.Tags, People: reg.People, Component: k.Component,
		Task: k.Rule, Title: d.Title(), Stage: alarm.TaskStages[d.Stage], Limit: d.Limit.String(),
		Cautions: d.Cautions(), FollowUp: d.FollowUp != nil,
	}
	item.Why, item.Amounts = v.Spans(func() string { return dueword.Say(v, d) })
	item.PulledIn, item.Figures = v.PulledIn(d), v.ComponentDef(d.Comp).Figures().ReadIn(v.Said())
	item.Reads = v.Said().Names()
	item.OwnCautions = v.Book.Own(item.Cautions)
	if d.Task != nil && d.Task.Reported {
		item.Limit = alarm.Reported
	}
	if d.NoHistory {
		item.Limit = alarm.NoHistory
	} else if d.Point.HasDate {
		item.DueDate = d.Point.Date.String()
	}
	if d.Task != nil {
		item.Statutory = d.Task.Statutory
		for _, n := range d.Task.Needs {
			item.Needs = append(item.Needs, Need(n))
		}
		item.LastDone = dueword.LastDone(d)
	}
	item.Postponed, item.Untold = dueword.PostponedBy(d.Postponed), d.Untold
	item.Early, item.Likely, item.Late = dueword.Dates(v, d)
	item.Worn = dueword.WornOf(v, d)
	item.Range = dueword.RangeRecord(v, d)
	if m, ok := dueword.PlaceOf(v, d); ok {
		item.PastBy, item.Unit = &m.Past, "m"
		if m.Face >= 0 {
			item.DueAt = &m.Face
		}
		if m.Replaced {
			item.DueInAll = &m.Life
		}
		if m.Hours {
			item.Unit = "s"
		}
	}
	if a := v.Rec.Alarm(k); a != nil {
		item.Shelved = a.ShelvedUntil != 0
	}
	return item
}
