package service

import (
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/engine/stream/server/servertest"
)

// TestWould asks a running service, with a gateway's rights, what would follow of
// entries: nothing of them is stored, and once they are sent, that is what is said.
func TestWould(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	nc, err := nats.Connect(srv.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	adopt(t, l, bookText)
	send(t, l, vehicle("a"), vehicle("b"), reading("a", 1, 5000), reading("b", 1, 70))
	caughtUp(t, s)
	last, err := l.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	long := reading("b", 3, 90)
	long.ID.ID = strings.Repeat("x", 2000)
	entries := []event.Event{
		reading("a", 20, 5950), reading("b", 2, 80), long,
		reported("a", "h", event.ReadingEvent, start.AddDate(0, 0, 21), &event.ReadingData{Meter: "hobbs", Value: 1, Unit: "h"}),
		reading("a", 22, 6010), reading("a", 25, 6200),
	}
	got, of, err := QueryWould(t.Context(), At{Conn: nc}, nil, entries...)
	if err != nil {
		t.Fatal(err)
	}
	var said []string
	for i, e := range got {
		if i != 2 && e.Event != entries[i].ID {
			t.Errorf("entry %d is answered as %v", i, e.Event)
		}
		if e.Refused != nil {
			said = append(said, e.Refused.Vehicle+" refused: "+e.Refused.Refused)
		}
		for _, tr := range e.Follows {
			said = append(said, tr.Vehicle+" "+tr.Rule+" "+string(tr.Transition)+" to "+string(tr.To))
		}
	}
	if got[2].Refused == nil || len(of) != 2 || len(of["a"].Due) != 1 || len(of["a"].Tasks) != 1 {
		t.Errorf("%+v %+v", got[2], of)
	}
	if now, err := l.LastEvent(t.Context()); now != last || err != nil {
		t.Errorf("asking brought event %d behind %d (%v)", now, last, err)
	}
	same(t, "said before", saidLines(t, l), nil)
	for _, ev := range entries {
		send(t, l, ev)
	}
	caughtUp(t, s)
	sortByVehicle(said)
	same(t, "said beforehand", said, saidLines(t, l))
}

// TestWouldInPieces asks after more entries of a vehicle than go into one request.
func TestWouldInPieces(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, quiet)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	adopt(t, l, bookText)
	send(t, l, vehicle("a"))
	caughtUp(t, s)
	entries := make([]event.Event, 4000)
	for i := range entries {
		entries[i] = reading("a", i, float64(5000+i))
	}
	entries[3999].Data = &event.ReadingData{Meter: "hobbs", Value: 1, Unit: "h"}
	got, of, err := QueryWould(t.Context(), At{Conn: srv.Conn()}, nil, entries...)
	if err != nil || len(got) != len(entries) || got[0].Refused != nil || got[3999].Refused == nil || of["a"].Vehicle != "a" {
		t.Errorf("%d answers (%v)", len(got), err)
	}
}
