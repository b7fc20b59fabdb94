package people

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t
}

func oneWith(t interface{ Fatal(...any) }, spec, zone string) *Directory {
	d, err := Parse("p", fmt.Appendf(nil, "people: {a: {mail: a@b.example, zone: %s, digest: %q}}", zone, spec))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// run hands Turns a tick every step from from to to and returns each turn with
// the tick that made it.
func run(d *Directory, from, to string, step time.Duration) (out []string) {
	var marks map[string]string
	for now := at(from); !now.After(at(to)); now = now.Add(step) {
		var turns []Turn
		turns, marks = Turns(d, marks, now)
		for _, turn := range turns {
			out = append(out, turn.Date+" at "+now.Format("01-02T15:04Z"))
		}
	}
	return out
}

// The clock changes: Berlin skips 02:00 to 03:00 on 2026-03-29 (at 01:00Z) and
// has 02:00 to 03:00 twice on 2026-10-25 (up to 01:00Z); Beirut skipped midnight
// on 2021-03-28; Apia had no 2011-12-30. IANA time zone database.
func TestTurnsOverClockChanges(t *testing.T) {
	for _, c := range []struct {
		name, spec, zone, from, to string
		want                       []string
	}{
		{"the missing hour", "30 2 * * *", "Europe/Berlin", "2026-03-28T00:00:00Z", "2026-03-30T23:00:00Z",
			[]string{"2026-03-28 at 03-28T01:30Z", "2026-03-29 at 03-29T01:00Z", "2026-03-30 at 03-30T00:30Z"}},
		{"the hour that comes twice", "30 2 * * *", "Europe/Berlin", "2026-10-24T00:00:00Z", "2026-10-26T23:00:00Z",
			[]string{"2026-10-24 at 10-24T00:30Z", "2026-10-25 at 10-25T00:30Z", "2026-10-26 at 10-26T01:30Z"}},
		{"the same earlier in that hour", "0 2 * * *", "Europe/Berlin", "2026-10-24T22:00:00Z", "2026-10-25T23:00:00Z",
			[]string{"2026-10-25 at 10-25T00:00Z"}},
		{"no midnight", "0 0 * * *", "Asia/Beirut", "2021-03-26T23:00:00Z", "2021-03-29T10:00:00Z",
			[]string{"2021-03-28 at 03-27T22:00Z", "2021-03-29 at 03-28T21:00Z"}},
		{"no such day", "0 6 * * *", "Pacific/Apia", "2011-12-29T00:00:00Z", "2011-12-31T23:00:00Z",
			[]string{"2011-12-29 at 12-29T16:00Z", "2011-12-31 at 12-30T16:00Z", "2012-01-01 at 12-31T16:00Z"}},
		{"not on Sundays", "0 6 * * 1-6", "UTC", "2031-02-01T00:00:00Z", "2031-02-03T12:00:00Z",
			[]string{"2031-02-01 at 02-01T06:00Z", "2031-02-03 at 02-03T06:00Z"}},
		{"a leap day", "@daily", "UTC", "2028-02-28T12:00:00Z", "2028-03-01T12:00:00Z",
			[]string{"2028-02-29 at 02-29T00:00Z", "2028-03-01 at 03-01T00:00Z"}},
	} {
		got := run(oneWith(t, c.spec, c.zone), c.from, c.to, 15*time.Minute)
		if !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s:\n got %q\nwant %q", c.name, got, c.want)
		}
	}
}

func TestTurnsMissedAreMadeUpOnce(t *testing.T) {
	d := oneWith(t, "0 6 * * *", "UTC")
	_, marks := Turns(d, nil, at("2031-02-01T05:00:00Z"))
	for _, c := range []struct {
		now  string
		want []Turn
	}{
		{"2031-02-05T05:00:00Z", []Turn{{"a", "2031-02-04"}}}, // four were missed
		{"2031-02-05T05:15:00Z", nil},
		{"2031-02-05T06:00:00Z", []Turn{{"a", "2031-02-05"}}},
		{"2031-02-05T05:45:00Z", nil}, // the clock was put back
		{"2031-02-05T06:15:00Z", nil},
		{"2033-02-05T06:15:00Z", []Turn{{"a", "2033-02-05"}}}, // far ahead by mistake
		{"2031-02-06T05:00:00Z", nil},                         // and right again
		{"2031-02-06T06:00:00Z", []Turn{{"a", "2031-02-06"}}},
	} {
		var got []Turn
		if got, marks = Turns(d, marks, at(c.now)); !reflect.DeepEqual(got, c.want) {
			t.Errorf("%s: got %v, want %v", c.now, got, c.want)
		}
	}
}

func TestTurnsStartFromNow(t *testing.T) {
	if got, _ := Turns(oneWith(t, "0 6 * * *", "UTC"), nil, at("2031-02-01T09:00:00Z")); got != nil {
		t.Errorf("a list for before the first tick: %v", got)
	}
}

// Whatever the zone, the hour and the spacing of ticks: no date twice, every
// date once where ticks come at least twice a day.
func TestTurnsOnceADay(t *testing.T) {
	zones := []string{"Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "Asia/Beirut", "Africa/Casablanca", "UTC"}
	rapid.Check(t, func(t *rapid.T) {
		spec := fmt.Sprintf("%d %d * * *", rapid.IntRange(0, 59).Draw(t, "minute"), rapid.IntRange(0, 23).Draw(t, "hour"))
		d := oneWith(t, spec, rapid.SampledFrom(zones).Draw(t, "zone"))
		now := at("2017-01-01T00:00:00Z").AddDate(0, 0, rapid.IntRange(0, 1500).Draw(t, "day"))
		var marks map[string]string
		last := ""
		for range 60 {
			now = now.Add(time.Duration(rapid.IntRange(1, 12*60).Draw(t, "minutes")) * time.Minute)
			var turns []Turn
			turns, marks = Turns(d, marks, now)
			for _, turn := range turns {
				if want := nextDate(last); last != "" && turn.Date != want {
					t.Fatalf("%s after %s, want %s", turn.Date, last, want)
				}
				last = turn.Date
			}
		}
	})
}

func nextDate(s string) string {
	d, _ := time.Parse(time.DateOnly, s)
	return d.AddDate(0, 0, 1).Format(time.DateOnly)
}

func TestSchedulesRefused(t *testing.T) {
	for _, spec := range []string{"TZ=UTC", "CRON_TZ=", "CRON_TZ=Europe/Berlin 0 6 * * *", "@every -1h", "@every 24h", "0 0 30 2 *",
		"@hourly", "0 6,18 * * *", "0 6", "x", "0 6 * * 8", "0-30 6 * * *"} {
		if _, err := parseSchedule(spec); err == nil {
			t.Errorf("%q was taken", spec)
		}
	}
}
