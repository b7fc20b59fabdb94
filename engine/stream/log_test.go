package stream

import (
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream/server/servertest"
)

// TestOpenRefuses meets streams that were made otherwise.
func TestOpenRefuses(t *testing.T) {
	eight := eventsConfig(LogConfig{Replicas: 1})
	eight.SubjectTransform.Destination = strings.Replace(eight.SubjectTransform.Destination, "16", "8", 1)
	said := eventsConfig(LogConfig{Replicas: 1})
	said.Metadata = map[string]string{partitionsKey: "8"}
	newer := stateConfig(LogConfig{Replicas: 1})
	newer.Metadata[formatKey] = "2"
	foreign := jetstream.StreamConfig{Name: AlarmsStream, Subjects: []string{"house.alarm"}}
	drops := alarmsConfig(LogConfig{Replicas: 1})
	drops.Discard = jetstream.DiscardOld
	for _, tt := range []struct {
		name string
		cfg  jetstream.StreamConfig
		want string
	}{
		{"another partition count", eight, `opening stream "EVENTS": it maps subjects to "telltale.event.{{partition(8,1)}}`},
		{"another partition count, as told", said, `opening stream "EVENTS": it has 8 partitions, this program has 16`},
		{"a newer program's", newer, `opening stream "STATE": it was written by a newer program (format 2, this one knows 1)`},
		{"someone else's", foreign, `opening stream "ALARMS": it takes ["house.alarm"], wanted ["telltale.alarm.*"]`},
		{"one that drops", drops, `opening stream "ALARMS": it drops old messages when full, it must refuse new ones`},
	} {
		t.Run(tt.name, func(t *testing.T) {
			srv := servertest.Embed(t, t.TempDir())
			js, err := jetstream.New(srv.Conn())
			if err != nil {
				t.Fatal(err)
			}
			if _, err := js.CreateStream(t.Context(), tt.cfg); err != nil {
				t.Fatal(err)
			}
			_, err = Open(t.Context(), srv.Conn(), LogConfig{})
			if err == nil || !strings.HasPrefix(err.Error(), tt.want) {
				t.Errorf("got %v, want %s", err, tt.want)
			}
		})
	}
}

// TestFull has no room for another event: it is refused, and the old ones stay.
func TestFull(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l, err := Open(t.Context(), srv.Conn(), LogConfig{MaxBytes: 2000, Patience: time.Second})
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for ; n < 100; n++ {
		if err = l.Publish(t.Context(), reading("a", n, float64(n))); err != nil {
			break
		}
	}
	if err == nil || !strings.Contains(err.Error(), "maximum bytes exceeded") {
		t.Errorf("after %d events: %v, want that the log is full", n, err)
	}
	if m, err := l.Events.Get(t.Context(), 1); err != nil || m == nil {
		t.Errorf("the first event is gone: %v", err)
	}
	if last, err := l.LastEvent(t.Context()); err != nil || last != uint64(n) {
		t.Errorf("%d events stored (%v), %d acknowledged", last, err, n)
	}
}
