package meter

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

// asUsual is what a book that says nothing else asks for.
var asUsual = Patience{Least: 14 * day, Times: 4}

func TestSilent(t *testing.T) {
	at := func(days ...int64) (out []int64) {
		for _, d := range days {
			out = append(out, d*day)
		}
		return out
	}
	for _, c := range []struct {
		name string
		at   []int64
		back int64 // in service again
		now  int64
		want string

		backlog int64
	}{
		{"nothing read", nil, 0, 400, "no", 0},
		{"three readings are no habit", at(0, 1, 2), 0, 400, "no", 0},
		{"daily, two weeks", at(0, 1, 2, 3), 0, 17, "no", 0},
		{"daily, more than two weeks", at(0, 1, 2, 3), 0, 18, "since 3", 0},
		{"monthly, four months", at(0, 30, 60, 90), 0, 210, "no", 0},
		{"monthly, more than four months", at(0, 30, 60, 90), 0, 211, "since 90", 0},
		{"one long gap of six is not usual", at(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 90), 0, 106, "since 90", 0},
		{"two are", at(0, 1, 2, 3, 4, 50, 96), 0, 275, "no", 0},
		{"what was usual long ago is not now", at(0, 30, 60, 90, 120, 121, 122, 123, 124, 125, 126), 0, 141, "since 126", 0},
		{"readings of one day are one", at(0, 0, 0, 0, 1, 1, 2), 0, 400, "no", 0},
		{"laid up, back for two weeks", at(0, 1, 2, 3), 90, 104, "no", 0},
		{"laid up, back for more than two weeks", at(0, 1, 2, 3), 90, 105, "since 3", 0},
		{"back, and read since", at(0, 1, 2, 3, 95), 90, 109, "no", 0},
		{"back, and silent since it was read", at(0, 1, 2, 3, 4, 5, 6, 95), 90, 110, "since 95", 0},
		{"the clock went back", at(0, 1, 2, 30), 0, 5, "no", 0},
		{"a backlog comes in", at(0, 1, 2, 3), 0, 40, "no", 40},
		{"its end is waited for", at(0, 1, 2, 3), 0, 41, "no", 40},
		{"and was that", at(0, 1, 2, 3), 0, 42, "since 3", 40},
		{"a backlog of long ago", at(0, 1, 2, 3), 0, 18, "since 3", 5},
	} {
		since, silent := asUsual.Silent(c.at, Wait{Since: c.back * day, Backlog: c.backlog * day}, c.now*day)
		got := "no"
		if silent {
			got = fmt.Sprintf("since %d", since/day)
		}
		if got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
		if _, silent := (Patience{}).Silent(c.at, Wait{}, c.now*day); silent {
			t.Errorf("%s: silent though nobody waits", c.name)
		}
	}
	longer := Patience{Least: 20 * day, Times: 1.5}
	if at, ok := longer.SilentFrom(at(0, 20, 40, 60), Wait{}); !ok || at != 90*day+1 {
		t.Errorf("one and a half of 20 days after day 60: %v, %v", at, ok)
	}
}

// Thinning does not change what is silent, whenever it was done.
func TestSilenceOfThinned(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		list := drawFacts(r)
		moments := func(list []fact) (out []int64) {
			for _, f := range list {
				out = append(out, f.at)
			}
			return out
		}
		now := rapid.Int64Range(0, 2000*day).Draw(r, "after")
		if n := len(list); n > 0 {
			now += list[n-1].at
		}
		since, silent := asUsual.Silent(moments(list), Wait{}, now)
		if s, ok := asUsual.Silent(moments(thinned(list)), Wait{}, now); s != since || ok != silent {
			r.Fatalf("%d %v; thinned %d %v", since, silent, s, ok)
		}
	})
}
