package service

import (
	"fmt"
	"maps"
	"testing"
	"time"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
)

// neighbour is another vehicle of the same partition.
func neighbour(of string) string {
	for i := 0; ; i++ {
		if v := fmt.Sprint("next-", i); stream.Partition(v) == stream.Partition(of) {
			return v
		}
	}
}

// TestCounts sends something for every reason that a sender can bring about.
func TestCounts(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	cfg := quiet
	cfg.ClockFollowsEvents = false
	s := run(t, l, cfg)
	adopt(t, l, bookText)
	past := time.Now().UTC().AddDate(0, 0, -40).Truncate(time.Second)
	v := vehicle("a")
	v.Time, v.Recorded = past, past
	send(t, l, v)
	read := func(id int, days int, km float64) {
		r := reading("a", id, km)
		r.Time, r.Recorded = past.AddDate(0, 0, days), past.AddDate(0, 0, days)
		send(t, l, r)
	}
	read(1, 1, 1000)
	read(2, 2, 1950)
	read(3, 300, 1960)
	raw(t, l, "telltale.in.a.reading", "{}")
	m, err := intake.Encode(intake.Tick(start))
	if err != nil {
		t.Fatal(err)
	}
	raw(t, l, "telltale.in.a.tick", string(m))
	raw(t, l, "telltale.in.a.reading", `{"specversion":"1.0","type":"telltale.reading.v1","source":"/test/a","id":"r-2","subject":"a","time":"`+
		past.Format(time.RFC3339)+`","data":{"meter":"odometer","value":7,"unit":"km"}}`)
	raw(t, l, "telltale.in.a.reading", `{"specversion":"1.0","type":"telltale.reading.v1","source":"/test/a","id":"r-9","subject":"a","time":"`+
		past.Format(time.RFC3339)+`","data":{"meter":"hobbs","value":7,"unit":"km"}}`)
	plain, err := intake.Encode(reading("a", 3, 1960))
	if err != nil {
		t.Fatal(err)
	}
	raw(t, l, "telltale.in.a.service", string(plain))                  // a reading
	raw(t, l, "telltale.in."+neighbour("a")+".reading", string(plain)) // of another vehicle
	caughtUp(t, s)
	p := s.Health().Partitions[stream.Partition("a")]
	if want := map[string]int{"soon": 1}; !maps.Equal(p.Stages, want) {
		t.Errorf("stages %v, want %v", p.Stages, want)
	}
	want := map[string]int{"malformed": 3, "forged": 1, "future": 1, "conflict": 1, "inapplicable": 1}
	if !maps.Equal(p.Reasons, want) {
		t.Errorf("reasons %v, want %v\n%q", p.Reasons, want, saidLines(t, l))
	}
	if p.Lag != 0 || p.Saved.IsZero() {
		t.Errorf("lag %d, saved %s", p.Lag, p.Saved)
	}
}
