package intake

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/event"
)

func stamps(ticks []event.Event) string {
	var out []string
	for _, ev := range ticks {
		out = append(out, ev.Time.Format("01-02T15:04"))
	}
	return strings.Join(out, " ")
}

func recorded(s string) event.Event { return event.Event{Recorded: at(s)} }

func TestTicks(t *testing.T) {
	ticks := NewTicks(false)
	for _, c := range []struct{ recorded, want string }{
		{"2031-01-02T00:00:00Z", ""}, // none before the first line
		{"2031-01-02T23:59:59Z", ""},
		{"2031-01-03T00:00:00Z", "01-03T00:00"}, // at it is passed
		{"2031-01-03T00:00:00Z", ""},
		{"2031-01-06T12:00:00Z", "01-04T00:00 01-05T00:00 01-06T00:00"},
		{"2031-01-02T12:00:00Z", ""}, // a step back
		{"2031-01-06T13:00:00Z", ""}, // passes none a second time
		{"2031-01-07T00:30:00+01:00", ""},
		{"2031-01-07T01:00:00+01:00", "01-07T00:00"},
	} {
		if got := stamps(ticks.Before(recorded(c.recorded))); got != c.want {
			t.Errorf("before %s: %q, want %q", c.recorded, got, c.want)
		}
	}
	for _, c := range []struct{ until, want string }{
		{"2031-01-05T00:00:00Z", ""},
		{"2031-01-07T00:00:00Z", ""},
		{"2031-01-09T00:00:00Z", "01-08T00:00 01-09T00:00"},
		{"2031-01-09T00:00:00Z", ""},
	} {
		if got := stamps(ticks.Until(at(c.until))); got != c.want {
			t.Errorf("until %s: %q, want %q", c.until, got, c.want)
		}
	}
}

func TestTicksOfItsOwn(t *testing.T) {
	ticks := NewTicks(true)
	for _, s := range []string{"2031-01-02T00:00:00Z", "2031-01-06T12:00:00Z"} {
		if got := stamps(ticks.Before(recorded(s))); got != "" {
			t.Errorf("before %s: %q", s, got)
		}
	}
	if got, want := stamps(ticks.Until(at("2031-01-08T00:00:00Z"))), "01-07T00:00 01-08T00:00"; got != want {
		t.Errorf("until: %q, want %q", got, want)
	}
}

func TestTicksOfNothing(t *testing.T) {
	ticks := NewTicks(false)
	if got := stamps(ticks.Until(at("2031-01-08T00:00:00Z"))); got != "" {
		t.Errorf("until: %q", got)
	}
	if got := stamps(ticks.Before(recorded("2031-01-12T00:00:00Z"))); got != "" {
		t.Errorf("before the first: %q", got)
	}
}

// In whatever order a file is, each midnight between the first line and the
// greatest recorded time comes once, in order.
func TestTicksProperty(t *testing.T) {
	start := at("2031-03-01T00:00:00Z")
	rapid.Check(t, func(t *rapid.T) {
		hours := rapid.SliceOfN(rapid.IntRange(0, 400), 1, 20).Draw(t, "hours")
		ticks, greatest, first := NewTicks(false), start, start
		var got []string
		for i, h := range hours {
			at := start.Add(time.Duration(h) * time.Hour)
			if i == 0 {
				first = at
			}
			if at.After(greatest) {
				greatest = at
			}
			if s := stamps(ticks.Before(event.Event{Recorded: at})); s != "" {
				got = append(got, s)
			}
		}
		var want []string
		for m := start; !m.After(greatest); m = m.AddDate(0, 0, 1) {
			if m.After(first) {
				want = append(want, m.Format("01-02T15:04"))
			}
		}
		if g, w := strings.Join(got, " "), strings.Join(want, " "); g != w {
			t.Fatalf("%v: %s, want %s", hours, g, w)
		}
	})
}

func TestTickIdentity(t *testing.T) {
	a, b := Tick(at("2031-01-03T06:15:00Z")), Tick(at("2031-01-03T07:15:00+01:00"))
	equal(t, a, b)
}

func TestInFuture(t *testing.T) {
	stored := at("2031-01-03T06:00:00Z")
	for _, c := range []struct{ time, recorded, want string }{
		{"2031-01-04T06:00:00Z", "2031-01-04T06:00:00Z", ``},
		{"1999-01-04T06:00:00Z", "1999-01-04T06:00:00Z", ``},
		{"2031-01-04T06:00:01Z", "2031-01-04T06:00:01Z", `time: 2031-01-04T06:00:01Z is more than 24 h later than it was stored (2031-01-03T06:00:00Z)`},
		{"2031-01-03T06:00:00Z", "2131-01-03T06:00:00Z", `recordedtime: 2131-01-03T06:00:00Z is more than 24 h later than it was stored (2031-01-03T06:00:00Z)`},
	} {
		err := InFuture(event.Event{Time: at(c.time), Recorded: at(c.recorded)}, stored)
		if text(err) != c.want {
			t.Errorf("%s %s:\n got %q\nwant %q", c.time, c.recorded, text(err), c.want)
		}
	}
}

// A register that was read before any event had told the time begins no clock.
func TestTicksOfTheZeroOfTime(t *testing.T) {
	ticks := NewTicks(false)
	for at, want := range []int{0, 0, 0, 1} {
		moment := []time.Time{time.Unix(0, 0), time.Date(2031, 1, 3, 6, 0, 0, 0, time.UTC), time.Unix(0, 0), time.Date(2031, 1, 4, 6, 0, 0, 0, time.UTC)}[at]
		if got := ticks.Before(event.Event{Recorded: moment}); len(got) != want {
			t.Errorf("at %s %d ticks, want %d", moment, len(got), want)
		}
	}
}
