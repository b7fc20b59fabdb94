package handover

import (
	"reflect"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/history"
)

// A hand-over sums an alarm up in a line, whatever was said of it, and lists apart what is
// open, the worst first.
func TestHandOver(t *testing.T) {
	said := func(date, rule string, what alarm.Change, from, to alarm.Stage) history.Entry {
		return history.Entry{What: history.WhatAlarm, Date: date, Alarm: &alarm.Transition{Rule: rule, Component: "engine", Transition: what, From: from, To: to, Message: rule + ": " + date}}
	}
	p := paperOf([]history.Entry{
		{What: history.WhatVehicle, Vehicle: "bus-07", Register: &event.VehicleData{Name: "Bus 7"}},
		{What: history.WhatWork, Date: "2031-01-10", Text: "Oil"},
		said("2031-02-01", "oil", "raised", "normal", "soon"), said("2031-02-09", "oil", "worsened", "soon", "overdue"),
		said("2031-03-01", "oil", "cleared", "overdue", "normal"), said("2031-08-01", "oil", "raised", "normal", "soon"),
		said("2031-04-01", "iron", "raised", "normal", "warning"), said("2031-05-01", "iron", "cleared", "warning", "normal"),
		said("2031-06-01", "dirt", "raised", "normal", "caution"),
	}, nil)
	want := []course{
		{What: "Oil (engine)", First: "2031-02-01", Last: "2031-08-01", Worst: "overdue", Raised: 2, Now: "soon"},
		{What: "Iron (engine)", First: "2031-04-01", Last: "2031-05-01", Worst: "warning", Raised: 1, Now: "normal"},
		{What: "Dirt (engine)", First: "2031-06-01", Last: "2031-06-01", Worst: "caution", Raised: 1, Now: "caution"},
	}
	if !reflect.DeepEqual(p.Alarms, want) {
		t.Errorf("got %+v", p.Alarms)
	}
	if len(p.Open) != 2 || p.Open[0].Entry.Alarm.Rule != "dirt" || p.Open[1].Date != "2031-08-01" || len(p.Work) != 1 || p.To != "2031-08-01" {
		t.Errorf("open %+v, work %+v, to %s", p.Open, p.Work, p.To)
	}
	var page strings.Builder
	if err := Page(&page, []history.Entry{{What: history.WhatVehicle, Vehicle: "bus-07"}, said("2031-06-01", "dirt", "raised", "normal", "caution")}); err != nil {
		t.Fatal(err)
	}
	at := -1
	for _, part := range []string{"Work done", "Fluid samples", "Open items", `<span class="badge">Look</span>`, "Alarms and reminders, in short", "once, first on"} {
		i := strings.Index(page.String(), part)
		if i <= at {
			t.Errorf("%q is not there, or not after what comes before", part)
		}
		at = i
	}
}
