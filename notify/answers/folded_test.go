package answers

import (
	"context"
	"fmt"
	"net/url"
	"strings"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/entry"
	"telltale/engine/stream/service"
	"telltale/engine/stream/service/servicetest"
)

const oilBook = `book: 1
units: {distance: km, volume: L}
tasks:
  oil change:
    title: Change the engine oil
    every: {distance: 1000 km}
    early: {distance: 100 km}
    unknown history: from first reading
`

// asked is a service in the process, as pages ask it.
type asked struct{ *service.Service }

func (a asked) AlarmsOf(ctx context.Context, vehicle string) ([]alarm.Listed, error) {
	return service.Alarms.Of(ctx, a.Service, service.Question{Vehicle: vehicle})
}

func (a asked) Due(ctx context.Context, q due.Query) ([]due.Item, error) {
	return service.Due.Of(ctx, a.Service, service.Question{Vehicle: q.Vehicle, Ahead: q.Ahead})
}

// livePages are pages over a real service, of a van whose oil is soon due.
func livePages(t *testing.T) *Pages {
	t.Helper()
	b, _ := liveOn(t)
	return b
}

// liveOn is livePages with the log beneath.
func liveOn(t *testing.T) (*Pages, *stream.Log) {
	t.Helper()
	s, l := servicetest.Start(t, oilBook, now.AddDate(0, 0, -30))
	for i, data := range []any{
		&event.VehicleData{Name: "Van 3", Kind: "van", Meters: []event.MeterDef{{Name: "odometer", Kind: "distance"}}},
		&event.ReadingData{Meter: "odometer", Value: 0, Unit: "km"},
		&event.ReadingData{Meter: "odometer", Value: 950, Unit: "km"},
	} {
		at, kind := now.AddDate(0, 0, i-10), event.ReadingEvent
		if i == 0 {
			kind = event.VehicleEvent
		}
		ev := event.Event{ID: event.ID{Source: "/gateway/3", ID: fmt.Sprint(i)}, Kind: kind, Vehicle: "van-3", Time: at, Recorded: at, Data: data}
		if err := l.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	var none []string
	b := somePages(alarm.Listed{}, &none)
	b.Fleet, b.Enter = asked{s}, entry.Desk{Service: s, Log: l}.Enter
	return b, l
}

// Whoever answers hears what became of the answer: that it was recorded once it is, and
// otherwise why not.
func TestAnswersAreFolded(t *testing.T) {
	b := livePages(t)
	path := "/a/" + key.Token(Link{Person: "ines", Vehicle: "van-3", Rule: "oil change", Expires: now.AddDate(0, 0, 60).Unix()})
	form := func(n int, answer string, more ...string) url.Values {
		v := url.Values{"form": {fmt.Sprintf("%020d", n)}, "answer": {answer}}
		for i := 0; i < len(more); i += 2 {
			v.Set(more[i], more[i+1])
		}
		return v
	}
	for _, c := range []struct {
		name string
		form url.Values
		code int
		says []string
	}{
		{"seen", form(1, "acknowledge"), 200, []string{wordNoted, "There will be no more reminders."}},
		{"seen, by a nervous finger", form(1, "acknowledge"), 200, []string{wordNoted}},
		{"seen again by somebody", form(2, "acknowledge", "why", "parts are here"), 409,
			[]string{"Not entered yet: Van 3: Change the engine oil", "It was not taken: ", "is acknowledged already", `value="parts are here"`}},
		{"the work, with a slip", form(3, "done", "day", "2031-02-20", "meter0", "96O"), 422, []string{"“96O” is not a number."}},
		{"the work", form(3, "done", "day", "2031-02-20", "meter0", "960"), 200, []string{wordNoted, "<li>Oil change: due next at 1,960 km"}},
		{"the work changed and sent again", form(3, "done", "day", "2031-02-20", "meter0", "970"), 200, []string{wordOver}},
	} {
		code, page := ask(b, "POST", path, c.form)
		for _, want := range c.says {
			if code != c.code || !strings.Contains(page, want) {
				t.Errorf("%s: %d, and the page lacks %q\n%s", c.name, code, want, page)
			}
		}
	}
	list, err := service.Refused.Of(t.Context(), b.Fleet.(asked).Service, service.Question{})
	if err != nil || len(list) > 0 {
		t.Errorf("%v were refused where nobody hears: %v", list, err)
	}
}

// A service that folds nothing just now has stored what was entered, and says so.
func TestAnswersWaitAWhile(t *testing.T) {
	b := livePages(t)
	b.Enter = func(context.Context, []string, ...event.Event) (entry.Became, error) {
		return entry.Became{Waiting: true}, nil
	}
	path := "/a/" + key.Token(Link{Person: "ines", Vehicle: "van-3", Rule: "oil change", Expires: now.Add(time.Hour).Unix()})
	if code, page := ask(b, "POST", path, url.Values{"answer": {"acknowledge"}}); code != 200 || !strings.Contains(page, wordLater) {
		t.Errorf("%d\n%s", code, page)
	}
}
