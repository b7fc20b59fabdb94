package meter

import (
	"fmt"
	"testing"

	"pgregory.net/rapid"
)

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
	}{
		{"nothing read", nil, 0, 400, "no"},
		{"three readings are no habit", at(0, 1, 2), 0, 400, "no"},
		{"daily, two weeks", at(0, 1, 2, 3), 0, 17, "no"},
		{"daily, more than two weeks", at(0, 1, 2, 3), 0, 18, "since 3"},
		{"monthly, four months", at(0, 30, 60, 90), 0, 210, "no"},
		{"monthly, more than four months", at(0, 30, 60, 90), 0, 211, "since 90"},
		{"one long gap of six is not usual", at(0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 90), 0, 106, "since 90"},
		{"two are", at(0, 1, 2, 3, 4, 50, 96), 0, 275, "no"},
		{"what was usual long ago is not now", at(0, 30, 60, 90, 120, 121, 122, 123, 124, 125, 126), 0, 141, "since 126"},
		{"readings of one day are one", at(0, 0, 0, 0, 1, 1, 2), 0, 400, "no"},
		{"laid up, back for two weeks", at(0, 1, 2, 3), 90, 104, "no"},
		{"laid up, back for more than two weeks", at(0, 1, 2, 3), 90, 105, "since 3"},
		{"back, and read since", at(0, 1, 2, 3, 95), 90, 109, "no"},
		{"back, and silent since it was read", at(0, 1, 2, 3, 4, 5, 6, 95), 90, 110, "since 95"},
		{"the clock went back", at(0, 1, 2, 30), 0, 5, "no"},
	} {
		since, silent := Silent(c.at, c.back*day, c.now*day)
		got := "no"
		if silent {
			got = fmt.Sprintf("since %d", since/day)
		}
		if got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
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
		since, silent := Silent(moments(list), 0, now)
		if s, ok := Silent(moments(thinned(list)), 0, now); s != since || ok != silent {
			r.Fatalf("%d %v; thinned %d %v", since, silent, s, ok)
		}
	})
}
