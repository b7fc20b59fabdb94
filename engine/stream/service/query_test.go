package service

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/why"
	"telltale/testdata/quick"
)

// TestQueries asks a running service over TCP, with a gateway's rights.
func TestQueries(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	nc, err := nats.Connect(srv.URL())
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	if _, err := Due.Ask(t.Context(), nc, Question{}); !errors.Is(err, ErrNoService) {
		t.Errorf("without a service: %v, want %v", err, ErrNoService)
	}

	s := run(t, l, quiet)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	b := adopt(t, l, bookText)
	for _, v := range aFleet() {
		send(t, l, vehicle(v))
	}
	days(t, l, 1, 14)
	raw(t, l, "telltale.in.bus-03.reading", "{}")
	caughtUp(t, s)

	due, err := Due.Ask(t.Context(), nc, Question{})
	if err != nil || len(due) < 3 || !reflect.DeepEqual(due, dueList(t, s)) {
		t.Errorf("%d due (%v), the service has %d", len(due), err, len(dueList(t, s)))
	}
	one, err := Due.Ask(t.Context(), nc, Question{Vehicle: "bus-11"})
	if err != nil || len(one) != 1 || one[0].Vehicle != "bus-11" || one[0].Stage != "overdue" {
		t.Errorf("due of one vehicle: %+v (%v)", one, err)
	}
	alarms, err := Alarms.Ask(t.Context(), nc, Question{})
	if err != nil || len(alarms) != len(due) {
		t.Errorf("%d alarms (%v), want %d", len(alarms), err, len(due))
	}
	alarms, err = Alarms.Ask(t.Context(), nc, Question{Vehicle: "bus-11"})
	if err != nil || len(alarms) != 1 || alarms[0].Vehicle != "bus-11" {
		t.Errorf("alarms of one vehicle: %+v (%v)", alarms, err)
	}
	why, err := Why.Ask(t.Context(), nc, Question{Vehicle: "bus-11", Rule: alarms[0].Rule})
	if err != nil || len(why) != 1 || why[0].Stage != "overdue" || !reflect.DeepEqual(why, reasons(t, s, "bus-11", alarms[0].Rule)) {
		t.Errorf("why: %+v (%v)", why, err)
	}
	refused, err := Refused.Ask(t.Context(), nc, Question{})
	if err != nil || len(refused) != 1 || refused[0].Vehicle != "bus-03" {
		t.Errorf("refused: %+v (%v)", refused, err)
	}
	h, err := QueryHealth(t.Context(), nc)
	if err != nil || !h.Ready || h.Book != b.Hash || !h.Now.Equal(start.AddDate(0, 0, 14)) || len(h.Partitions) != stream.Partitions {
		t.Errorf("health: %+v (%v)", h, err)
	}
	none, err := List[string](t.Context(), nc, "unregistered", nil)
	if err != nil || len(none) != 0 {
		t.Errorf("unregistered: %v (%v)", none, err)
	}
	if _, err := List[string](t.Context(), nc, "due", 7); err == nil || !strings.Contains(err.Error(), "reading the question") {
		t.Errorf("a question that is none: %v", err)
	}
}

// TestPages answers with a list that no message holds.
func TestPages(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	want := make([]string, 3000)
	for i := range want {
		want[i] = strings.Repeat(string(rune('a'+i%26)), 1000)
	}
	m, err := micro.AddService(srv.Conn(), micro.Config{Name: "test", Version: "1.0.0"})
	if err != nil {
		t.Fatal(err)
	}
	defer m.Stop()
	err = m.AddGroup(querySubject).AddEndpoint("long", micro.HandlerFunc(func(r micro.Request) {
		if err := Reply(r, want); err != nil {
			t.Error(err)
		}
	}))
	if err != nil {
		t.Fatal(err)
	}
	got, err := List[string](t.Context(), srv.Conn(), "long", nil)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%d of %d lines (%v)", len(got), len(want), err)
	}
}

func reasons(t *testing.T, s *Service, vehicle, rule string) []why.Why {
	t.Helper()
	list, err := Why.Of(t.Context(), s, Question{Vehicle: vehicle, Rule: rule})
	return complete(t, list, err)
}
