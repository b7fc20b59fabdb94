package stream

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nkeys"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/server"
	"telltale/engine/stream/server/accounts"
	"telltale/engine/stream/server/servertest"
)

// attacked is a log with something in each of its streams, and whoever reaches its port.
func attacked(t *testing.T) (l *Log, gateway *nats.Conn) {
	t.Helper()
	srv := servertest.Embed(t, t.TempDir())
	return filled(t, srv), connected(t, srv)
}

// closed is such a log whose server lets programs in alone, and one that may send readings
// of bus-07.
func closed(t *testing.T) (l *Log, gateway *nats.Conn) {
	t.Helper()
	key, err := nkeys.CreateUser()
	if err != nil {
		t.Fatal(err)
	}
	name, err := key.PublicKey()
	if err != nil {
		t.Fatal(err)
	}
	srv, err := server.Embed(t.Context(), server.Config{Dir: t.TempDir(), Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler), Closed: true,
		Programs: []accounts.Program{{Name: "gateway-3", Key: name, Publishes: []string{"telltale.in.bus-07.reading"}}}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	return filled(t, srv), connected(t, srv, nats.Nkey(name, key.Sign))
}

func connected(t *testing.T, srv *server.Server, opts ...nats.Option) *nats.Conn {
	t.Helper()
	nc, err := nats.Connect(srv.URL(), append(opts, nats.ErrorHandler(func(*nats.Conn, *nats.Subscription, error) {}))...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return nc
}

func filled(t *testing.T, srv *server.Server) *Log {
	t.Helper()
	l := open(t, srv)
	send(t, l, reading("bus-07", 1, 1000), reading("bus-07", 2, 1100), reading("bus-09", 3, 1200))
	for _, subject := range []string{"telltale.alarm.0", "telltale.state.0.record.bus-07", "telltale.book.x", "telltale.delivery.x", "telltale.said.0.bus-07"} {
		raw(t, l, subject, "{}")
	}
	return l
}

// lies is how many messages each stream holds, and from which sequence to which.
func lies(t *testing.T, l *Log) string {
	t.Helper()
	out := map[string][3]uint64{}
	for _, name := range []string{EventsStream, AlarmsStream, StateStream, BooksStream, DeliveriesStream, SaidStream} {
		s, err := l.JS.Stream(t.Context(), name)
		if err != nil {
			t.Fatal(err)
		}
		st := s.CachedInfo().State
		out[name] = [3]uint64{st.Msgs, st.FirstSeq, st.LastSeq}
	}
	b, err := json.Marshal(out)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// answered is what the server says to a message; "" where it says nothing for a moment.
func answered(t *testing.T, nc *nats.Conn, m *nats.Msg) string {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Second)
	defer cancel()
	r, err := nc.RequestMsgWithContext(ctx, m)
	if errors.Is(err, context.DeadlineExceeded) || errors.Is(err, nats.ErrNoResponders) {
		return ""
	} else if err != nil {
		t.Fatal(err)
	}
	return string(r.Data)
}

// Whoever may send an event orders nothing else by its headers: it expires nothing, rolls
// nothing up, schedules nothing, and begins no batch that is never ended.
func TestHeadersOrderNothing(t *testing.T) {
	for name, start := range map[string]func(*testing.T) (*Log, *nats.Conn){"whoever reaches it": attacked, "a program": closed} {
		t.Run(name, func(t *testing.T) { headersOrderNothing(t, start) })
	}
}

func headersOrderNothing(t *testing.T, start func(*testing.T) (*Log, *nats.Conn)) {
	l, gateway := start(t)
	before := lies(t, l)
	for name, head := range map[string]string{
		"expires":              "Nats-TTL: 1s",
		"expires at once":      "Nats-TTL: 1",
		"never expires":        "Nats-TTL: never",
		"rolls all up":         "Nats-Rollup: all",
		"rolls its subject up": "Nats-Rollup: sub",
		"is sent again":        "Nats-Schedule: @every 1s\nNats-Schedule-Target: telltale.in.bus-09.reading",
		"is sent later":        "Nats-Schedule: @at 2031-01-01T00:00:00Z\nNats-Schedule-Target: telltale.all.tick",
		"takes a schedule out": "Nats-Schedule-Next: purge\nNats-Scheduler: telltale.event.0.bus-09.reading",
		"counts":               "Nats-Incr: 5",
		"begins a batch":       "Nats-Batch-Id: b\nNats-Batch-Sequence: 1",
		"is a batch":           "Nats-Batch-Id: b\nNats-Batch-Sequence: 1\nNats-Batch-Commit: 1",
		"is of another stream": "Nats-Expected-Stream: ALARMS",
		"expects another":      "Nats-Expected-Last-Sequence: 1",
		"expects of another":   "Nats-Expected-Last-Subject-Sequence: 99\nNats-Expected-Last-Subject-Sequence-Subject: telltale.all.tick",
		"says it was sourced":  "Nats-Stream-Source: ALARMS 1 > >",
		"follows another":      "Nats-Expected-Last-Msg-Id: x",
	} {
		m := nats.NewMsg("telltale.in.bus-07.reading")
		m.Data = []byte("{}")
		for line := range strings.Lines(head) {
			k, v, _ := strings.Cut(strings.TrimSpace(line), ": ")
			m.Header[k] = []string{v}
		}
		if got := answered(t, gateway, m); !strings.Contains(got, `"error"`) {
			t.Errorf("an event that %s is answered by %s", name, got)
		}
	}
	if after := lies(t, l); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
}

// The server takes a second message of a name for a repetition of the first. Nobody who may
// report of one vehicle names a message so that what others will send is not stored.
func TestNamesTakeNobodysPlace(t *testing.T) {
	l, gateway := attacked(t)
	now := start.AddDate(0, 0, 10)
	id := "/test/bus-09/r-9"
	names := []string{id, id + " of bus-09", id + "/", "/telltale/turn ines 2031-01-11", "/telltale/" + intake.Tick(now).ID.ID, "/telltale//" + intake.Tick(now).ID.ID, intake.Tick(now).ID.Source + "/" + intake.Tick(now).ID.ID}
	other := open(t, servertest.Embed(t, t.TempDir())) // another log, whose names its owner knows
	for _, ev := range []event.Event{reading("bus-09", 9, 1300), intake.Tick(now), own(event.TurnEvent, "turn ines 2031-01-11", now, &event.TurnData{Digest: "ines", Date: "2031-01-11"})} {
		m, err := other.eventMsg(ev)
		if err != nil {
			t.Fatal(err)
		}
		names = append(names, m.Header.Get(jetstream.MsgIDHeader))
	}
	for _, name := range names {
		m := nats.NewMsg("telltale.in.bus-07.reading")
		m.Header.Set(jetstream.MsgIDHeader, name)
		if got := answered(t, gateway, m); !strings.Contains(got, `"seq"`) {
			t.Fatalf("%s: %s", name, got)
		}
	}
	before, err := l.LastEvent(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	send(t, l, reading("bus-09", 9, 1300))
	if err := l.PublishTurn(t.Context(), now, "ines", "2031-01-11", ""); err != nil {
		t.Fatal(err)
	}
	if err := l.PublishTick(t.Context(), now); err != nil {
		t.Fatal(err)
	}
	if err := l.PublishCopy(t.Context(), reading("bus-09", 9, 1300), nil); err != nil {
		t.Fatal(err)
	}
	if after, err := l.LastEvent(t.Context()); err != nil || after != before+4 {
		t.Errorf("of a reading, a turn, a tick and a copy %d are stored, %v", after-before, err)
	}
}

// Who may send of one vehicle sends of no other, however the subject is written.
func TestOddSubjects(t *testing.T) {
	l, gateway := closed(t)
	before := lies(t, l)
	for _, subject := range []string{"telltale.in.bus-09.reading", "telltale.in.BUS-07.reading", "telltale.in.bus-07.service", "telltale.in.bus-07.READING", "telltale.in.bus-07.tick", "telltale.in.bus-07.reading.x", "telltale.in.bus-07", "telltale.in..reading", "telltale.in.bus-07.",
		"telltale.in.*.reading", "telltale.in.>", "telltale.in.bus-07.*", "telltale.in.bus-07.>", "telltale.in.bus=2D07.reading", "telltale.in.bus=2d07.reading", "telltale.in.=62us-07.reading", "telltale.in.bus-07=00.reading", "telltale.in.bus-07=FF.reading", "telltale.in.bus-07=2Ereading.reading", "telltale.in.bus-07\x00.reading", "telltale.in.\xff.reading",
		"telltale.event.0.bus-07.reading", "telltale.all.tick", "telltale.query.due", "telltale.part.3.due", "telltale.alarm.3", "$JS.API.STREAM.INFO.EVENTS", "$JS.API.INFO", "$JS.ACK.EVENTS.x.1.1.1.1.1", "$SRV.PING", "$SYS.REQ.SERVER.PING", "_INBOX.x", "_R_.x", "x"} {
		if err := gateway.PublishMsg(&nats.Msg{Subject: subject, Data: []byte("{}")}); err != nil {
			continue // the client itself knows better
		}
	}
	if got := answered(t, gateway, &nats.Msg{Subject: "telltale.in.bus-07.reading", Data: []byte("{}")}); !strings.Contains(got, `"seq":4`) { // behind all of them
		t.Errorf("the one that it may send is answered by %q", got)
	}
	if after := strings.Replace(lies(t, l), `"EVENTS":[4,1,4]`, `"EVENTS":[3,1,3]`, 1); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
	for _, subject := range []string{">", "telltale.>", "telltale.in.>", "telltale.alarm.*", "telltale.query.due", "$JS.>", "$SYS.>", "_R_.>", "*"} {
		sub, err := gateway.SubscribeSync(subject)
		if err == nil {
			err = gateway.Flush()
		}
		if err != nil {
			t.Fatal(err)
		}
		raw(t, l, "telltale.alarm.0", "{}")
		send(t, l, reading("bus-09", 20, 2000))
		if m, err := sub.NextMsg(50 * time.Millisecond); err == nil {
			t.Errorf("%s hears %s", subject, m.Subject)
		}
	}
}

// A page of elsewhere can have a browser send bytes to the server's port, as a form or a
// picture. The server hangs up at the first line, before any that the page made up.
func TestBrowsersSpeakNoNATS(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l := filled(t, srv)
	before := lies(t, l)
	address := strings.TrimPrefix(srv.URL(), "nats://")
	made := "\r\nCONNECT {\"verbose\":false}\r\nPUB telltale.in.bus-07.reading 2\r\n{}\r\nPING\r\n"
	for _, first := range []string{"POST / HTTP/1.1", "PUT / HTTP/1.1", "PATCH / HTTP/1.1", "GET /" + strings.Repeat("x", 5000) + " HTTP/1.1", "OPTIONS / HTTP/1.1", "HEAD / HTTP/1.1", "DELETE / HTTP/1.1", "\x16\x03\x01"} {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		if err := c.SetDeadline(time.Now().Add(30 * time.Second)); err != nil {
			t.Fatal(err)
		}
		go io.WriteString(c, first+"\r\nHost: "+address+"\r\nContent-Type: text/plain\r\nContent-Length: 999\r\n"+made)
		said, err := io.ReadAll(c) // until it hangs up
		if ne, slow := errors.AsType[net.Error](err); slow && ne.Timeout() {
			t.Errorf("%.20q is still listened to", first)
		}
		if strings.Contains(string(said), "PONG") {
			t.Errorf("%.20q is understood: %.300q", first, said)
		}
		c.Close()
	}
	if after := lies(t, l); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
}

// Whoever comes without a key has nothing delivered where the service alone writes.
func TestDeliversNowhere(t *testing.T) {
	l, gateway := attacked(t)
	before := lies(t, l)
	for _, to := range []string{"telltale.alarm.0", "telltale.state.0.record.bus-07", "telltale.book.x", "telltale.delivery.y", "telltale.notify", "telltale.said.0.bus-07", "$KV.SESSIONS.x", "$KV.PASSKEYS.x", "telltale.audit.work"} {
		for _, subject := range []string{"$JS.API.CONSUMER.CREATE.EVENTS", "$JS.API.CONSUMER.CREATE.EVENTS.mine.telltale.event.>", "$JS.API.CONSUMER.CREATE.EVENTS.mine", "$JS.API.CONSUMER.DURABLE.CREATE.EVENTS.mine"} {
			name, durable := "", ""
			if strings.Contains(subject, "mine") {
				name = "mine"
			}
			if strings.Contains(subject, "DURABLE") {
				durable = "mine"
			}
			b, err := json.Marshal(map[string]any{"stream_name": "EVENTS", "config": map[string]any{"name": name, "durable_name": durable, "deliver_subject": to, "deliver_policy": "all", "ack_policy": "none", "replay_policy": "instant"}})
			if err != nil {
				t.Fatal(err)
			}
			if err := gateway.PublishMsg(&nats.Msg{Subject: subject, Reply: "_INBOX.x", Data: b}); err != nil {
				t.Fatal(err)
			}
		}
	}
	if got := answered(t, gateway, &nats.Msg{Subject: "$JS.API.STREAM.INFO.EVENTS"}); !strings.Contains(got, `"consumer_count":0`) { // behind all of them
		t.Errorf("the stream says %s", got)
	}
	if after := lies(t, l); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
}
