package notify

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/notify/delivery"
	"telltale/notify/people"
)

// A list at half past two in the night of Berlin's clock changes (2026-03-29, when
// that hour is left out, and 2026-10-25, when it comes twice) goes out once a date,
// also where the service starts anew before every tick, or the tick and its turn are
// handed over twice, as after a crash.
func TestListOnceADateOverClockChanges(t *testing.T) {
	for _, c := range []struct{ from, to string }{
		{"2026-03-27T12:00:00Z", "2026-03-31T12:00:00Z"}, {"2026-10-23T12:00:00Z", "2026-10-27T12:00:00Z"}, {"2028-02-27T12:00:00Z", "2028-03-02T12:00:00Z"},
	} {
		for _, how := range []string{"runs on", "starts anew before each tick", "hears all twice"} {
			d, err := people.Parse("people.yaml", []byte("people: {north: {mail: north@larkfell.example, zone: Europe/Berlin, digest: \"30 2 * * *\"}}\ntell: {all: {who: [north]}}\n"))
			if err != nil {
				t.Fatal(err)
			}
			m := &delivery.Memory{}
			n, _ := newNotifier(t, m, 1)
			n.SetDirectory(d)
			var marks map[string]string
			var turns []people.Turn
			seq, last := uint64(0), time.Time{}
			var want []string
			for now := at(c.from); !now.After(at(c.to)); now = now.Add(15 * time.Minute) {
				if how == "starts anew before each tick" && !last.IsZero() {
					n, _ = newNotifier(t, m, 1)
					n.SetDirectory(d)
					_, marks = people.Turns(d, nil, last)
				}
				turns, marks = people.Turns(d, marks, now)
				if how == "hears all twice" {
					turns = append(turns, turns...)
				}
				for _, turn := range turns {
					seq++
					part := winterList()[0]
					part.Digest, part.Date, part.Now = turn.Person, turn.Date, now
					if err := n.Handle(t.Context(), seq, Cause{Key: fmt.Sprint("turn-", seq), Time: now}, []engine.Output{{Turn: &part}}); err != nil {
						t.Fatal(err)
					}
				}
				if date := now.In(d.Person("north").Zone).Format(time.DateOnly); date != at(c.from).Format(time.DateOnly) && !slices.Contains(want, date) {
					want = append(want, date)
				}
				last = now
			}
			all, err := delivery.All(t.Context(), m)
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, d := range all {
				got = append(got, strings.TrimPrefix(d.Cause, "digest north "))
			}
			if slices.Sort(got); !slices.Equal(got, want) {
				t.Errorf("from %s, where it %s: lists of %q, want %q", c.from, how, got, want)
			}
		}
	}
}
