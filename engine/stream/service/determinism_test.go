package service

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// muddle is the traffic of a fleet as it comes in life: late, repeated, corrected,
// voided, answered, with rules that change on the way.
type muddle struct {
	t    *testing.T
	l    *stream.Log
	rnd  *rand.Rand
	sent []event.Event
	km   map[string]float64
	n    int
}

// round is so many events; then the clock moves a day.
func (m *muddle) round(day, events int) {
	m.t.Helper()
	for range events {
		v := aFleet()[m.rnd.IntN(len(aFleet()))]
		m.n++
		at := start.AddDate(0, 0, day).Add(time.Duration(m.rnd.IntN(86400)) * time.Second)
		if m.rnd.IntN(5) == 0 {
			at = at.AddDate(0, 0, -m.rnd.IntN(min(day+1, 6))) // late
		}
		id := fmt.Sprint("m-", m.n)
		switch k := m.rnd.IntN(20); {
		case k < 12:
			m.km[v] += float64(m.rnd.IntN(90))
			value := m.km[v]
			if m.rnd.IntN(15) == 0 {
				value *= 1.609 // typed in the wrong unit
			}
			m.publish(reported(v, id, event.ReadingEvent, at, &event.ReadingData{Meter: "odometer", Value: value, Unit: "km"}))
		case k < 14:
			m.publish(reported(v, id, event.ServiceEvent, at, &event.ServiceData{Tasks: []string{"oil"}, By: "workshop"}))
		case k < 16:
			m.publish(reported(v, id, event.AnswerEvent, at, &event.AnswerData{Answer: "acknowledge", Rule: "oil", By: "ines"}))
		case k < 17 && len(m.sent) > 0:
			of := m.sent[m.rnd.IntN(len(m.sent))]
			m.publish(reported(of.Vehicle, id, event.VoidEvent, at, &event.VoidData{Source: of.ID.Source, ID: of.ID.ID}))
		case len(m.sent) > 0:
			m.again(m.sent[m.rnd.IntN(len(m.sent))])
		}
	}
	if err := m.l.PublishTick(m.t.Context(), start.AddDate(0, 0, day+1)); err != nil {
		m.t.Fatal(err)
	}
	if day%7 == 3 {
		adopt(m.t, m.l, strings.Replace(bookText, "1000 km", fmt.Sprint(800+100*(day%4), " km"), 1))
	}
}

func (m *muddle) publish(ev event.Event) {
	m.t.Helper()
	send(m.t, m.l, ev)
	if ev.Kind != event.VoidEvent {
		m.sent = append(m.sent, ev)
	}
}

// again sends an event once more, so that the log holds it twice.
func (m *muddle) again(ev event.Event) {
	m.t.Helper()
	data, err := intake.Encode(ev)
	if err != nil {
		m.t.Fatal(err)
	}
	if err := m.l.Events.Store(m.t.Context(), &nats.Msg{Subject: intake.Subject(ev), Data: data}); err != nil {
		m.t.Fatal(err)
	}
}

// records are the vehicles' records as they are stored.
func records(t *testing.T, l *stream.Log) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := l.State.Each(t.Context(), 1, "telltale.state.*.record.*", func(m jetstream.Msg, _ uint64) error {
		out[m.Subject()] = string(m.Data())
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// said is every output in full, by partition and in order.
func saidInFull(t *testing.T, l *stream.Log) map[int][]string {
	t.Helper()
	out := map[int][]string{}
	for _, m := range published(t, l) {
		for i, o := range m.Outputs {
			b, err := wire.Marshal(o)
			if err != nil {
				t.Fatal(err)
			}
			out[m.Partition] = append(out[m.Partition], fmt.Sprintf("%d.%d %s", m.Event, m.N+i, b))
		}
	}
	return out
}

// copyLog copies the log of events and the books to another server, each message
// as it is and in its place.
func copyLog(t *testing.T, to, from *stream.Log) {
	t.Helper()
	last, err := from.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for seq := uint64(1); seq <= last; seq++ {
		m, err := from.Events.Get(t.Context(), seq)
		if err != nil || m == nil {
			t.Fatal(seq, err)
		}
		subject := m.Subject
		if !feed.ForAll(subject) {
			token := strings.Split(subject, ".")
			subject = "telltale.in." + token[3] + "." + token[4]
		}
		if err := to.State.Store(t.Context(), &nats.Msg{Subject: subject, Data: m.Data}); err != nil {
			t.Fatal(err)
		}
	}
	err = from.Books.Each(t.Context(), 1, "telltale.book.>", func(m jetstream.Msg, _ uint64) error {
		return to.State.Store(t.Context(), &nats.Msg{Subject: m.Subject(), Data: m.Data()})
	})
	if err != nil {
		t.Fatal(err)
	}
}

// TestDeterminism folds a log while replicas come, end and crash, and then its copy
// in one go from nothing: every record and every output is the same to the byte.
func TestDeterminism(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	m := &muddle{t: t, l: l, rnd: rand.New(rand.NewPCG(seed, 1)), km: map[string]float64{}}
	all := []*Service{replica(t, srv), replica(t, srv)}
	begin(t, l)
	for day := range 24 {
		m.round(day, 25)
		switch day % 6 {
		case 1:
			all = append(all, replica(t, srv))
		case 3:
			kill(t, all[0])
			all = all[1:]
		case 5:
			i := m.rnd.IntN(len(all))
			stop(t, all[i])
			all = slices.Delete(all, i, i+1)
			all = append(all, replica(t, srv))
		}
	}
	caughtUp(t, all[0])
	for _, s := range all {
		stop(t, s)
	}

	again := open(t, servertest.Embed(t, t.TempDir()))
	copyLog(t, again, l)
	s := run(t, again, quiet)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	if err := s.CaughtUp(ctx); err != nil {
		t.Fatal(err)
	}
	stop(t, s)
	if got, want := records(t, l), records(t, again); !maps.Equal(got, want) || len(got) != len(aFleet()) {
		for v := range want {
			if got[v] != want[v] {
				t.Errorf("%s\n%s\nfrom nothing\n%s", v, got[v], want[v])
			}
		}
	}
	got, want := saidInFull(t, l), saidInFull(t, again)
	n := 0
	for p := range stream.Partitions {
		n += len(want[p])
		same(t, fmt.Sprint("partition ", p, " said"), got[p], want[p])
	}
	if n < 50 {
		t.Errorf("only %d outputs", n)
	}
}
