package engine_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

// TestPulledInOfAnyHistory compares, over random years, what is due by a book whose
// alarms pull work in with what is due by the same book without that: nothing comes
// later by it, no stage is milder, and where nothing is said to be pulled in the
// lines are the same. What is pulled in rests on an event that counts, and nobody
// did the work after it was drawn or postponed it since. All this holds of the record as
// it is kept over a restart.
func TestPulledInOfAnyHistory(t *testing.T) {
	with := load(t, orderRules)
	var kept []string
	for line := range strings.Lines(orderRules) {
		if !strings.Contains(line, "pull in:") {
			kept = append(kept, line)
		}
	}
	without := load(t, strings.Join(kept, ""))
	pulled := 0
	rapid.Check(t, func(rt *rapid.T) {
		lines := drawYear(rt)
		if rapid.Bool().Draw(rt, "postponed") {
			lines = putOff(rt, lines)
		}
		events := shortEvents(rt, lines, with)
		got, own := dueAfter(rt, events, with), dueAfter(rt, events, without)
		if len(got.PulledIn) == 0 {
			if one, two := fmt.Sprintf("%+v", got), fmt.Sprintf("%+v", own); one != two {
				rt.Fatalf("nothing is pulled in, and yet\n%s\nis not\n%s\nof\n%s", one, two, strings.Join(lines, "\n"))
			}
			return
		}
		pulled++
		comparePulled(rt, &got, &own)
		for _, p := range got.PulledIn {
			checkPull(rt, p, events)
		}
	})
	if pulled == 0 {
		t.Error("no history pulled anything in: the comparison says nothing")
	}
}

// dueAfter is the line of the oil change on the day after all that, of a record
// that was stored and loaded.
func dueAfter(rt *rapid.T, events []event.Event, book *rules.Book) due.Item {
	p := engine.NewPartition()
	p.Apply(bookEvent(book))
	p.Apply(intake.Tick(time.Date(2032, 12, 31, 0, 0, 0, 0, time.UTC)))
	for _, ev := range events {
		p.Apply(ev)
	}
	rec, err := p.Encode("van-1")
	if err != nil {
		rt.Fatal(err)
	}
	again := engine.NewPartition()
	again.Restore(p.Now(), book)
	again.Resume(p.Resumed())
	if err := again.Load("van-1", rec); err != nil {
		rt.Fatal(err)
	}
	find := func(p *engine.Partition) due.Item {
		list := p.Due(due.Query{Ahead: 36500})
		i := slices.IndexFunc(list, func(d due.Item) bool { return d.Task == "engine oil" })
		if i < 0 {
			rt.Fatalf("no line of the oil change in %+v", list)
		}
		return list[i]
	}
	before, after := find(p), find(again)
	if one, two := fmt.Sprintf("%v", plain(before)), fmt.Sprintf("%v", plain(after)); one != two {
		rt.Fatalf("kept:   %s\nloaded: %s", one, two)
	}
	return plain(after)
}

// plain is the line with its numbers in place of pointers to them, as far as they
// are compared here.
func plain(d due.Item) due.Item {
	if d.DueAt != nil {
		d.Limit += fmt.Sprintf(" at %.3f, past by %.3f", *d.DueAt, *d.PastBy)
	}
	d.DueAt, d.PastBy = nil, nil
	for i := range d.PulledIn {
		if by := d.PulledIn[i].By; by != nil {
			d.PulledIn[i].Limits += " by " + by.ID
			d.PulledIn[i].By = nil
		}
	}
	return d
}

func comparePulled(rt *rapid.T, got, own *due.Item) {
	rank := alarm.TaskStages[:]
	if slices.Index(rank, got.Stage) < max(1, slices.Index(rank, own.Stage)) {
		rt.Fatalf("pulled in it is %s, of itself %s", got.Stage, own.Stage)
	}
	if own.DueDate != "" && (got.DueDate == "" || got.DueDate > own.DueDate) {
		rt.Fatalf("pulled in it is due on %q, of itself on %q", got.DueDate, own.DueDate)
	}
}

// checkPull holds what pulled the work in to the events.
func checkPull(rt *rapid.T, p alarm.PulledIn, events []event.Event) {
	_, by, _ := strings.Cut(p.Limits, " by ")
	found := false
	since := func(at time.Time) bool { return !at.Before(drawn(events, by)) }
	for _, ev := range events {
		switch d := ev.Data.(type) {
		case *event.SampleData:
			found = found || ev.ID.ID == by
		case *event.VoidData:
			if d.ID == by {
				rt.Fatalf("it rests on %s, which is void", by)
			}
		case *event.ServiceData:
			if slices.Contains(d.Tasks, "engine oil") && since(ev.Time) && !voided(events, ev.ID.ID) {
				rt.Fatalf("it was done at %s, not before %s", ev.Time, p.On)
			}
		case *event.AnswerData:
			if ev.Time.Format(time.DateOnly) > p.On && !voided(events, ev.ID.ID) {
				rt.Fatalf("it was postponed at %s, after %s", ev.Time, p.On)
			}
		}
	}
	if !found {
		rt.Fatalf("no sample %q pulled it in", by)
	}
}

// drawn is the first moment of which work came after the sample.
func drawn(events []event.Event, id string) time.Time {
	i := slices.IndexFunc(events, func(ev event.Event) bool { return ev.ID.ID == id })
	if d, ok := events[i].Data.(*event.SampleData); ok && d.Drawn != "" {
		return events[i].Time.Truncate(24 * time.Hour)
	}
	return events[i].Time
}

func voided(events []event.Event, id string) bool {
	return slices.ContainsFunc(events, func(ev event.Event) bool {
		d, ok := ev.Data.(*event.VoidData)
		return ok && d.ID == id
	})
}
