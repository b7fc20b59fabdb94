package service

import (
	"context"
	"reflect"
	"slices"
	"testing"
	"time"

	"telltale/engine/listing"
	"telltale/engine/stream"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// shared are settings of one replica of several.
var shared = Config{Program: "test", ClockFollowsEvents: true, Flush: 200 * time.Millisecond, Share: true}

// replica is one more service on the streams.
func replica(t *testing.T, srv *server.Server) *Service {
	t.Helper()
	s := run(t, open(t, srv), shared)
	settled(t, s)
	return s
}

func settled(t *testing.T, s *Service) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := s.Settled(ctx); err != nil {
		t.Fatal(err)
	}
}

// within waits until something is so.
func within(t *testing.T, d time.Duration, what string, so func() bool) {
	t.Helper()
	for end := time.Now().Add(d); !so(); {
		if time.Now().After(end) {
			t.Fatalf("not after %s: %s", d, what)
		}
		jet.Rest(t.Context(), 10*time.Millisecond)
	}
}

// partitionsHere is which partitions a service folds.
func partitionsHere(s *Service) (out []int) {
	for _, w := range s.here() {
		out = append(out, w.p)
	}
	return out
}

// divided waits until the replicas have all partitions, each one replica, in
// shares that differ little.
func divided(t *testing.T, d time.Duration, all ...*Service) {
	t.Helper()
	most := (stream.Partitions + len(all) - 1) / len(all)
	within(t, d, "the partitions are divided", func() bool {
		var have []int
		for _, s := range all {
			h := partitionsHere(s)
			if len(h) > most || len(s.seating.Replicas()) != len(all) {
				return false
			}
			have = append(have, h...)
		}
		slices.Sort(have)
		return len(have) == stream.Partitions && len(slices.Compact(have)) == stream.Partitions
	})
}

// TestReplicas has replicas come, end, and crash while a fleet's days go by. What
// is said is what one service would have said, and in the end all of them tell the
// same of everything.
func TestReplicas(t *testing.T) {
	quick.Beside(t)
	want := unbroken(t, 16)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	a := replica(t, srv)
	divided(t, 5*time.Second, a)
	begin(t, l)
	days(t, l, 1, 4)
	b, c := replica(t, srv), replica(t, srv)
	days(t, l, 4, 7)
	divided(t, 5*time.Second, a, b, c)
	days(t, l, 7, 9)
	stop(t, a)
	days(t, l, 9, 11)
	divided(t, 2*time.Second, b, c) // at once: a said that it goes
	kill(t, b)
	days(t, l, 11, 14)
	divided(t, 3*time.Second, c) // b is missed
	d := replica(t, srv)
	days(t, l, 14, 16)
	caughtUp(t, c)
	caughtUp(t, d)
	same(t, "said", saidLines(t, l), want)
	divided(t, 5*time.Second, c, d)
	for what, ask := range map[string]func(*Service) (any, error){
		"due":    func(s *Service) (any, error) { return Due.Of(t.Context(), s, Question{}) },
		"alarms": func(s *Service) (any, error) { return Alarms.Of(t.Context(), s, Question{}) },
		"why":    func(s *Service) (any, error) { return Why.Of(t.Context(), s, Question{Vehicle: "bus-03"}) },
		"lines": func(s *Service) (any, error) {
			page, err := Lines.Of(t.Context(), s, Question{Listing: Listing{View: listing.Due, Limit: 5}})
			if len(page.Lines) != 5 || page.Total < 6 {
				t.Errorf("%d lines of %d", len(page.Lines), page.Total)
			}
			return asJSON(t, page), err
		},
		"counts": func(s *Service) (any, error) {
			all, err := Counts.Of(t.Context(), s, Question{})
			return asJSON(t, all), err
		},
		"vehicles": func(s *Service) (any, error) {
			page, err := Vehicles.Of(t.Context(), s, Question{Listing: Listing{Limit: 5}})
			return asJSON(t, page), err
		},
		"mark": func(s *Service) (any, error) { return s.Mark(t.Context()) },
		"registered": func(s *Service) (any, error) {
			d, err := s.Registered(t.Context(), "bus-03")
			return *d, err
		},
	} {
		one, err1 := ask(c)
		two, err2 := ask(d)
		if err1 != nil || err2 != nil || !reflect.DeepEqual(one, two) || reflect.ValueOf(one).IsZero() {
			t.Errorf("%s: one replica tells %+v (%v), the other %+v (%v)", what, one, err1, two, err2)
		}
	}
	h := d.HealthOfAll(t.Context())
	if !h.Ready || len(h.Partitions) != stream.Partitions || len(h.Replicas) != 2 || h.Unanswered != nil {
		t.Errorf("health: %+v", h)
	}
}
