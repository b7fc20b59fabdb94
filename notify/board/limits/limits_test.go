package limits

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

var start = time.Date(2031, 6, 6, 6, 31, 0, 0, time.UTC)

// TestPages: 60 pages at once, and one more each second; lists of the fleet are ten, and
// pages too; another one's are their own; pictures and pages loaded again take none away.
func TestPages(t *testing.T) {
	p := NewPages()
	let := func(k Kind, key string, now time.Time) (n int) {
		for p.Take(k, key, now) == 0 {
			if n++; n == 1000 {
				break // none are bounded
			}
		}
		return n
	}
	for _, tt := range []struct {
		kind Kind
		key  string
		at   time.Duration
		want int
	}{
		{Fleet, "ines", 0, 10},
		{Page, "ines", 0, 50},
		{Again, "ines", 0, 60},
		{Part, "ines", 0, 600},
		{Page, "north", 0, 60},
		{Page, "", 0, 1000},
		{Page, "ines", 7 * time.Second, 7},
		{Fleet, "ines", 11 * time.Second, 1},
		{Fleet, "ines", time.Hour, 10},
		{Page, "ines", time.Hour, 50},
	} {
		if got := let(tt.kind, tt.key, start.Add(tt.at)); got != tt.want {
			t.Errorf("kind %d of %q after %v: %d, want %d", tt.kind, tt.key, tt.at, got, tt.want)
		}
	}
	if wait := p.Take(Page, "north", start); wait != time.Second {
		t.Errorf("the next page after %v, want a second", wait)
	}
}

// TestMails: three to a person at once and one more each five minutes, ten an hour from an
// address, 200 in all; what is refused by one limit takes nothing from the others.
func TestMails(t *testing.T) {
	m := NewMails()
	sent := func(n int, who, from string, now time.Time) (let int) { // # stands for 0 to n-1
		for i := range n {
			if m.Take(strings.ReplaceAll(who, "#", fmt.Sprint(i)), strings.ReplaceAll(from, "#", fmt.Sprint(i)), now) == 0 {
				let++
			}
		}
		return let
	}
	if got := sent(50, "ines", "10.1.2.3/32", start); got != 3 {
		t.Errorf("to one person %d, want 3", got)
	}
	if got := sent(50, "person #", "10.1.2.3/32", start); got != 7 {
		t.Errorf("from the same address %d more, want 7: those refused took some", got)
	}
	if wait := m.Take("ines", "10.9.9.9/32", start); wait != 5*time.Minute {
		t.Errorf("the next one to the person after %v, want 5m", wait)
	}
	if got := sent(1, "ines", "10.9.9.9/32", start.Add(5*time.Minute)); got != 1 {
		t.Errorf("five minutes later %d, want 1", got)
	}
	later := start.Add(24 * time.Hour)
	if got := sent(500, "person #", "10.1.#.0/32", later); got != 200 {
		t.Errorf("in all %d, want 200", got)
	}
	if got := sent(100, "some #", "", later.Add(time.Hour)); got != 100 {
		t.Errorf("without an address %d of 100", got)
	}
}

// TestTakeLikeATwin holds rates to a plain account: what was let through over any stretch.
func TestTakeLikeATwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Rate{rapid.IntRange(1, 5).Draw(t, "most"), time.Duration(rapid.IntRange(1, 60).Draw(t, "per")) * time.Second}
		b, tokens, last, now := Each(r), float64(r.Most), start, start
		for range rapid.IntRange(1, 60).Draw(t, "steps") {
			now = now.Add(time.Duration(rapid.IntRange(0, 20_000).Draw(t, "ms")) * time.Millisecond)
			tokens = min(float64(r.Most), tokens+now.Sub(last).Seconds()*float64(r.Most)/r.Per.Seconds())
			last = now
			wait := Take(now, Use{b, "ines"})
			switch {
			case tokens > 1-1e-6 && tokens < 1+1e-6: // either way, by rounding
				t.Skip("at the very edge")
			case (wait == 0) != (tokens >= 1):
				t.Fatalf("%v: waits %v with %.6f left", r, wait, tokens)
			case wait == 0:
				tokens--
			}
			if want := (1 - tokens) * r.Per.Seconds() / float64(r.Most); wait > 0 && (wait.Seconds() < want-1e-3 || wait.Seconds() > want+1e-3) {
				t.Fatalf("%v: waits %v, want %.3f s", r, wait, want)
			}
		}
	})
}

// TestKeptIsBounded: of more than are kept, whoever asked longest ago is forgotten.
func TestKeptIsBounded(t *testing.T) {
	b := Each(Rate{1, time.Hour})
	Take(start, Use{b, "first"})
	Take(start, Use{b, "second"})
	for i := range 3 * mostKept {
		Take(start, Use{b, fmt.Sprint(i)})
		if Take(start, Use{b, "first"}) == 0 {
			t.Fatal("who asks all the time was forgotten")
		}
	}
	if len(b.all) != mostKept || b.order.Len() != mostKept {
		t.Errorf("%d are kept, in an order of %d", len(b.all), b.order.Len())
	}
	if Take(start, Use{b, "second"}) != 0 {
		t.Error("who asked longest ago was kept")
	}
	keys := []string{}
	for e := b.order.Front(); e != nil; e = e.Next() {
		keys = append(keys, e.Value.(*one).key)
	}
	if keys[0] != "second" || !slices.Contains(keys, "first") {
		t.Errorf("the latest are %q", keys[:3])
	}
}
