package vehicle

import (
	"context"
	"net/http"
	"slices"
	"strconv"
	"time"

	"telltale/notify/board/frame"
	"telltale/rules/english"
)

// eventsPage is what was sent of a vehicle, as it came, for operators.
type eventsPage struct {
	Events []sent
	Next   string
	Size   int
	Count  string
}

// sent is an event as it came.
type sent struct{ Stored, Kind, Source, Text, Why string }

// eventsKept is how far back what was sent is shown.
const eventsKept = 7 * 24 * time.Hour

func (s site) events(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	if !r.Viewer.Operator {
		return nil, &frame.Fault{Status: http.StatusForbidden, Title: wordNotYours, Words: wordOperators}
	}
	v, err := s.ask(ctx, r)
	if err != nil {
		return nil, err
	}
	before, _ := strconv.ParseUint(r.FormValue("before"), 10, 64)
	names := slices.Compact(slices.Sorted(slices.Values(append([]string{v.Vehicle.Vehicle, v.Home()}, v.Register.Was...))))
	list, more, err := s.Log.Sent(ctx, names, time.Now().Add(-eventsKept), before, onPage)
	if err != nil {
		return nil, err
	}
	d := eventsPage{Size: onPage}
	for _, e := range list {
		one := sent{Stored: v.by.Day(e.Stored.In(v.where)) + ", " + e.Stored.In(v.where).Format("15:04:05"), Text: english.Printable(string(e.Text))}
		if e.Err != nil {
			one.Why = clean(e.Err.Error())
		} else {
			one.Kind, one.Source = e.Event.Kind.String(), clean(e.Event.ID.Source+" "+e.Event.ID.ID)
		}
		d.Events = append(d.Events, one)
	}
	if more {
		d.Next = v.path("events") + query("before", strconv.FormatUint(list[len(list)-1].Seq, 10))
	}
	body, err := templates.Body("events", d)
	return &frame.Page{Section: frame.Vehicles, Title: "What was sent", About: v.title(), Lead: wordEvents, Up: v.up(), Body: body}, err
}
