package service

import (
	"context"
	"encoding/json"
	"reflect"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream/answer"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

// slowly is a question that takes longer than it waits before it is asked again.
type slowly struct {
	begun chan bool
	over  atomic.Bool
}

// slow lets a service answer telltale.query.slow with two lines, slowly but for one question.
func slow(t *testing.T, s *Service) *slowly {
	t.Helper()
	w := &slowly{begun: make(chan bool, 10)}
	m, err := s.respondTo(querySubject, map[string]handler{"slow": func(ctx context.Context, r micro.Request, q Question) error {
		if q.Vehicle != "at once" {
			w.begun <- true
			select {
			case <-time.After(2*answer.AskAgain + answer.AskAgain/2):
			case <-ctx.Done():
			}
			w.over.Store(true)
		}
		return Reply(r, []string{"one", q.Vehicle})
	}}, micro.Config{Name: "slow", Version: "1.0.0"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	return w
}

// TestAskedOnce asks what takes longer than a question waits for its first reply. It is asked
// once, and holds up nobody who asks for the same meanwhile.
func TestAskedOnce(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	w := slow(t, run(t, open(t, srv), quiet))
	asked, err := srv.Conn().SubscribeSync(querySubject + ".slow")
	if err != nil {
		t.Fatal(err)
	}
	done := make(chan error, 1)
	go func() {
		got, err := List[string](t.Context(), srv.Conn(), "slow", Question{Vehicle: "bus-07"})
		if err == nil && !reflect.DeepEqual(got, []string{"one", "bus-07"}) {
			t.Errorf("the slow answer: %q", got)
		}
		done <- err
	}()
	<-w.begun
	got, err := List[string](t.Context(), srv.Conn(), "slow", Question{Vehicle: "at once"})
	if err != nil || !reflect.DeepEqual(got, []string{"one", "at once"}) || w.over.Load() {
		t.Errorf("the answer beside: %q (%v), after the slow one: %t", got, err, w.over.Load())
	}
	if err := <-done; err != nil {
		t.Error(err)
	}
	if n, _, err := asked.Pending(); n != 2 || err != nil {
		t.Errorf("%d requests for two questions (%v)", n, err)
	}
}

// TestOldClientIsAnswered reads the answer as a client does that knows no page which says
// that the answer is being made: the pages of the first reply's answer, until one has no more.
func TestOldClientIsAnswered(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	slow(t, run(t, open(t, srv), quiet))
	nc := srv.Conn()
	sub, err := nc.SubscribeSync(nc.NewRespInbox())
	if err != nil {
		t.Fatal(err)
	}
	if err := nc.PublishRequest(querySubject+".slow", sub.Subject, []byte(`{"vehicle":"bus-07"}`)); err != nil {
		t.Fatal(err)
	}
	var got []string
	mark, replies := "", 0
	for more := true; more; replies++ {
		msg, err := sub.NextMsg(10 * time.Second)
		if err != nil {
			t.Fatal(err)
		}
		if mark == "" {
			mark = msg.Header.Get(answer.Header)
		}
		if msg.Header.Get(answer.Header) != mark {
			t.Fatalf("reply %d is of another answer", replies)
		}
		var p answer.Page[string]
		if err := json.Unmarshal(msg.Data, &p); err != nil {
			t.Fatal(err)
		}
		got, more = append(got, p.Items...), p.More
	}
	if !reflect.DeepEqual(got, []string{"one", "bus-07"}) || replies < 3 {
		t.Errorf("%q in %d replies", got, replies)
	}
}

// TestAskedAgainOfAnother has a replica stop that has said that it is at it.
func TestAskedAgainOfAnother(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	nc := srv.Conn()
	var asked atomic.Int32
	sub, err := nc.Subscribe(querySubject+".slow", func(m *nats.Msg) {
		reply := nats.NewMsg(m.Reply)
		reply.Header.Set(answer.Header, m.Reply)
		switch asked.Add(1) {
		case 1: // and then nothing more
			reply.Header.Set(answer.AtIt, "yes")
			reply.Data = []byte(`{"items":[],"more":true}`)
		default:
			reply.Header.Set(answer.Header, "of the other")
			reply.Data = []byte(`{"items":["one"]}`)
		}
		if err := nc.PublishMsg(reply); err != nil {
			t.Error(err)
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { sub.Unsubscribe() })
	got, err := List[string](t.Context(), nc, "slow", nil)
	if err != nil || !reflect.DeepEqual(got, []string{"one"}) || asked.Load() != 2 {
		t.Errorf("%q, asked %d times (%v)", got, asked.Load(), err)
	}
}
