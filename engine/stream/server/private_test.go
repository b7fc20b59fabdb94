package server

import (
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// TestPrivateStreams has whoever reaches the port try all ways to read, and to write, who
// did what and who is signed in: by each call of the server that gives messages or their
// subjects, and by listening to everything while the service writes and reads.
func TestPrivateStreams(t *testing.T) {
	srv := embed(t, t.TempDir())
	js, err := jetstream.New(srv.Conn())
	if err != nil {
		t.Fatal(err)
	}
	s, err := js.CreateStream(t.Context(), jetstream.StreamConfig{Name: "AUDIT", Subjects: []string{"telltale.audit.>"}})
	if err != nil {
		t.Fatal(err)
	}
	kv, err := js.CreateKeyValue(t.Context(), jetstream.KeyValueConfig{Bucket: "SESSIONS"})
	if err != nil {
		t.Fatal(err)
	}
	var mu sync.Mutex
	var heard []string // by the listener, and what it may not
	stranger, err := nats.Connect(srv.URL(), nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))
	if err != nil {
		t.Fatal(err)
	}
	defer stranger.Close()
	for _, subject := range []string{">", "telltale.>", "$JS.>", "telltale.audit.*.*.*", "$KV.>", "_INBOX_SERVICE.>", "_INBOX_SERVICE.*.*"} {
		if _, err := stranger.Subscribe(subject, func(m *nats.Msg) {
			mu.Lock()
			defer mu.Unlock()
			if text := m.Subject + string(m.Data); strings.Contains(text, "ines") || strings.Contains(text, "AUDIT") || strings.Contains(text, "SESSIONS") {
				heard = append(heard, m.Subject)
			}
		}); err != nil {
			t.Fatal(err)
		}
	}
	if err := stranger.Flush(); err != nil {
		t.Fatal(err)
	}
	const entry = "telltale.audit.work.=2Fpeople=2Fines.="
	if _, err := js.Publish(t.Context(), entry, []byte("ines entered work")); err != nil {
		t.Fatal(err)
	}
	if _, err := kv.Put(t.Context(), "a1", []byte("ines")); err != nil {
		t.Fatal(err)
	}
	c, err := s.OrderedConsumer(t.Context(), jetstream.OrderedConsumerConfig{})
	if err != nil {
		t.Fatal(err)
	}
	if m, err := c.Next(); err != nil || string(m.Data()) != "ines entered work" {
		t.Fatalf("the service itself reads %v (%v)", m, err)
	}
	if m, err := s.GetMsg(t.Context(), 1); err != nil || string(m.Data) != "ines entered work" {
		t.Fatalf("the service itself reads %v (%v)", m, err)
	}
	if got, err := kv.Get(t.Context(), "a1"); err != nil || string(got.Value()) != "ines" {
		t.Fatalf("the service itself reads %v (%v)", got, err)
	}
	name := c.CachedInfo().Name
	for _, stream := range []string{"AUDIT", "KV_SESSIONS"} {
		for _, call := range []struct{ subject, body string }{
			{"$JS.API.STREAM.INFO." + stream, `{"subjects_filter":">"}`},
			{"$JS.API.STREAM.MSG.GET." + stream, `{"seq":1}`},
			{"$JS.API.DIRECT.GET." + stream, `{"seq":1}`},
			{"$JS.API.DIRECT.GET." + stream + "." + entry, ""},
			{"$JS.API.CONSUMER.CREATE." + stream, `{"stream_name":"` + stream + `","config":{"ack_policy":"none","deliver_subject":"out"}}`},
			{"$JS.API.CONSUMER.CREATE." + stream + ".mine", `{"stream_name":"` + stream + `","config":{"name":"mine","ack_policy":"none","deliver_subject":"out"}}`},
			{"$JS.API.CONSUMER.CREATE." + stream + ".mine." + entry, `{"stream_name":"` + stream + `","config":{"name":"mine","ack_policy":"none","deliver_subject":"out","filter_subject":"` + entry + `"}}`},
			{"$JS.API.CONSUMER.DURABLE.CREATE." + stream + ".mine", `{"stream_name":"` + stream + `","config":{"durable_name":"mine","ack_policy":"none","deliver_subject":"out"}}`},
			{"$JS.API.CONSUMER.NAMES." + stream, ""},
			{"$JS.API.CONSUMER.LIST." + stream, ""},
			{"$JS.API.CONSUMER.INFO." + stream + "." + name, ""},
			{"$JS.API.CONSUMER.MSG.NEXT." + stream + "." + name, "1"},
			{"$JS.API.CONSUMER.DELETE." + stream + "." + name, ""},
			{"$JS.API.STREAM.SNAPSHOT." + stream, `{"deliver_subject":"out"}`},
			{"$JS.API.STREAM.PURGE." + stream, ""},
			{"$JS.API.STREAM.DELETE." + stream, ""},
			{"$JS.API.STREAM.CREATE.COPY", `{"name":"COPY","sources":[{"name":"` + stream + `"}]}`},
			{entry, "tom did it"},
			{"$KV.SESSIONS.a1", "tom"},
		} {
			if m, err := stranger.Request(call.subject, []byte(call.body), 50*time.Millisecond); err == nil {
				t.Errorf("%s is answered: %s", call.subject, m.Data)
			}
		}
	}
	if err := stranger.Publish("_INBOX_SERVICE.x.1", []byte("ines")); err != nil {
		t.Fatal(err)
	}
	if err := stranger.Flush(); err != nil { // all that was for the listener is there
		t.Fatal(err)
	}
	mu.Lock()
	defer mu.Unlock()
	if heard != nil {
		t.Errorf("a listener heard %q", heard)
	}
	info, err := s.Info(t.Context())
	if err != nil || info.State.Msgs != 1 {
		t.Errorf("the trail has %v (%v)", info, err)
	}
	if got, err := kv.Get(t.Context(), "a1"); err != nil || string(got.Value()) != "ines" {
		t.Errorf("the session is %v (%v)", got, err)
	}
}
