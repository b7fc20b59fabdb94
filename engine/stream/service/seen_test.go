package service

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/stream/server/servertest"
	"telltale/notify"
	"telltale/testdata/quick"
)

// withSees are settings of a service that reads what may be seen.
func withSees(c Config) Config {
	c.Sees = notify.Sees
	return c
}

// by is what somebody sees who sees the vehicles of these names.
func by(vehicles ...string) string {
	text, _ := json.Marshal(vehicles)
	text, _ = json.Marshal([]map[string]string{{"where": "vehicle.id in " + string(text)}})
	return string(text)
}

// TestSeesOfReplicas: what may be seen travels with a question to the replica that has the
// vehicles, whichever is asked, and from outside.
func TestSeesOfReplicas(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	var all []*Service
	for range 2 {
		s := run(t, open(t, srv), withSees(shared))
		settled(t, s)
		all = append(all, s)
	}
	divided(t, 5*time.Second, all...)
	begin(t, l)
	days(t, l, 1, 14)
	caughtUp(t, all[0])
	m, err := all[1].Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	whole := dueList(t, all[0])
	half := aFleet()[:len(aFleet())/2]
	want := slices.DeleteFunc(slices.Clone(whole), func(i due.Item) bool { return !slices.Contains(half, i.Vehicle) })
	if len(want) == 0 || len(want) == len(whole) {
		t.Fatalf("%d of %d are of half of the fleet", len(want), len(whole))
	}
	q := Question{Sees: by(half...), Units: []string{}}
	for i, s := range all {
		got, err := Due.Of(t.Context(), s, Question{Sees: q.Sees})
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Errorf("replica %d: %d due, want %d (%v)", i, len(got), len(want), err)
		}
		seen, err := s.Seen(t.Context(), q.Sees, append(aFleet(), "nobody"))
		if err != nil || len(seen) != len(half) || !seen[half[0]] {
			t.Errorf("replica %d: seen are %v, want %q (%v)", i, seen, half, err)
		}
	}
	if got, err := Due.Ask(t.Context(), l.Conn, q); err != nil || len(got) != len(want) {
		t.Errorf("asked over NATS: %d due, want %d (%v)", len(got), len(want), err)
	}
}

// TestSeesOfAnOlderReplica: a program that knows nothing of what may be seen is not taken for
// one that shows no more than that.
func TestSeesOfAnOlderReplica(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	if _, err := l.Conn.Subscribe(partSubject(3)+".tags", func(m *nats.Msg) {
		_ = m.Respond([]byte(`{"items":["depot=north"]}`))
	}); err != nil {
		t.Fatal(err)
	}
	s := &Service{log: l}
	ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer cancel()
	if got, err := askOwner(ctx, s, Tags, 3, Question{}); err != nil || !slices.Equal(got, []string{"depot=north"}) {
		t.Fatalf("without: %q (%v)", got, err)
	}
	if got, err := askOwner(ctx, s, Tags, 3, Question{Sees: by("bus-00")}); err == nil || got != nil {
		t.Errorf("it is told %q", got)
	}
}

// TestSeesUnreadable: a text that cannot be read shows nothing, whatever is asked, and neither
// does a service that reads none.
func TestSeesUnreadable(t *testing.T) {
	quick.Beside(t)
	for name, cfg := range map[string]Config{"a reader": withSees(quiet), "none": quiet} {
		srv := servertest.Embed(t, t.TempDir())
		l := open(t, srv)
		s := run(t, l, cfg)
		begin(t, l)
		days(t, l, 1, 14)
		caughtUp(t, s)
		m, err := s.Respond()
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { m.Stop() })
		for _, sees := range []string{"{", `[{"where":"vehicle.tags.depot =="}]`, `[{"where":"all(vehicle.people, true)"}]`} {
			for of := range public {
				q := Question{Sees: sees, Vehicle: "bus-00"}
				for _, q.Vehicle = range []string{"", "bus-00"} {
					list, err := List[json.RawMessage](t.Context(), l.Conn, of, q)
					if err == nil || len(list) > 0 {
						t.Errorf("%s, %s of %q by %s: %s", name, of, q.Vehicle, sees, list)
					}
				}
			}
			if seen, err := s.Seen(t.Context(), sees, aFleet()); err == nil || len(seen) > 0 {
				t.Errorf("%s sees %v by %s", name, seen, sees)
			}
			if h := s.HealthFor(t.Context(), Question{Sees: sees}); h.Ready || len(h.Partitions) > 0 {
				t.Errorf("%s is told %+v by %s", name, h, sees)
			}
		}
	}
}

// TestBaselinesSeen: of the fleet's baselines somebody sees the groups that their own vehicles
// fall into, and of the samples that were left out those of their own.
func TestBaselinesSeen(t *testing.T) {
	quick.Beside(t)
	l := open(t, servertest.Embed(t, t.TempDir()))
	s := run(t, l, withSees(quiet))
	defer keep(t, l)()
	adopt(t, l, fleetText)
	for i := range 30 {
		fe := float64(18 + i%7)
		if i == 5 {
			fe = 400
		}
		send(t, l, withEngine(fmt.Sprint("bus-", i)), sampled(fmt.Sprint("bus-", i), 2+i, fe))
	}
	diesel := withEngine("bus-40")
	diesel.Data.(*event.VehicleData).Components[0].Fluid = "5W-30"
	send(t, l, diesel, sampled("bus-40", 8, 20))
	send(t, l, vehicle("van-1"), reported("bus-9", "late", event.ReadingEvent, start.AddDate(0, 0, 60), &event.ReadingData{Meter: "odometer", Value: 1, Unit: "km"}))
	if err := l.PublishTick(t.Context(), start.AddDate(0, 0, 61)); err != nil {
		t.Fatal(err)
	}
	inForceFrom(t, l, s, 1)
	of := func(sees string) (groups []string, left []string) {
		t.Helper()
		list, err := Baselines.Of(t.Context(), s, Question{Sees: sees})
		if err != nil {
			t.Fatal(err)
		}
		for _, g := range list {
			groups = append(groups, g.Of...)
		}
		return groups, fleet.Outlying(list)
	}
	for _, c := range []struct {
		name, sees   string
		groups, left []string
	}{
		{"all", "", []string{"15W-40", "5W-30"}, []string{"bus-5"}},
		{"one of the many", by("bus-1"), []string{"15W-40"}, nil},
		{"the odd one", by("bus-5"), []string{"15W-40"}, []string{"bus-5"}},
		{"the other fluid", by("bus-40"), []string{"5W-30"}, nil},
		{"one without an engine", by("van-1"), nil, nil},
		{"nobody's", "[]", nil, nil},
		{"all again", "", []string{"15W-40", "5W-30"}, []string{"bus-5"}},
	} {
		if groups, left := of(c.sees); !slices.Equal(groups, c.groups) || !slices.Equal(left, c.left) {
			t.Errorf("%s: groups %q, left out %q; want %q, %q", c.name, groups, left, c.groups, c.left)
		}
	}
	limits, err := Limits.Of(t.Context(), s, Question{Sees: by("bus-40", "van-1")})
	if err != nil || len(limits) != 1 || limits[0].Components != 1 || !slices.Equal(limits[0].Of, []string{"5W-30"}) {
		t.Errorf("limits are %+v (%v)", limits, err)
	}
}
