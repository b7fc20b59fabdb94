package delivery

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"telltale/notify/delivery/deliverytest"
)

// failing is a store of which writes fail.
type failing struct {
	Memory
	deliverytest.Faults
}

func (f *failing) Create(ctx context.Context, key string, body []byte) (bool, error) {
	return f.Faults.Create(ctx, func() (bool, error) { return f.Memory.Create(ctx, key, body) })
}

func (f *failing) Replace(ctx context.Context, key string, body []byte) error {
	return f.Write(ctx, "replace", func() error { return f.Memory.Replace(ctx, key, body) })
}

// scripted answers each try by what its script says, and notes the tries.
type scripted struct {
	mu    sync.Mutex
	begun time.Time
	say   func(d Delivery, try int) error
	slow  func(d Delivery) time.Duration
	tries []string
	count map[string]int
}

func (s *scripted) Send(ctx context.Context, d Delivery) error {
	s.mu.Lock()
	if s.count == nil {
		s.count = map[string]int{}
	}
	s.count[d.Key]++
	try := s.count[d.Key]
	s.tries = append(s.tries, fmt.Sprintf("%s %s", d.Key, time.Since(s.begun).Round(time.Second)))
	s.mu.Unlock()
	if s.slow != nil {
		select {
		case <-time.After(s.slow(d)):
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	if s.say == nil {
		return nil
	}
	return s.say(d, try)
}

func waiting(key, thread string) Delivery {
	return Delivery{Key: key, Person: "ines", Way: "mail", To: "ines@larkfell.example", Thread: thread, MessageID: "<" + key + ">", State: Waiting,
		Created: time.Now(), Raw: []byte("body of " + key)}
}

func put(m *Memory, all ...Delivery) {
	for _, d := range all {
		body, _ := json.Marshal(d)
		_ = m.Replace(context.Background(), d.Key, body)
	}
}

// runFor runs the queue over the store for as long and returns what is stored.
func runFor(t *testing.T, span time.Duration, m Store, ways map[string]Way, during ...func(*Queue)) map[string]Delivery {
	t.Helper()
	ctx, cancel := context.WithCancel(t.Context())
	q := &Queue{Store: m, Ways: ways, Log: slog.New(slog.NewTextHandler(io.Discard, nil))}
	done := make(chan struct{})
	go func() { q.Run(ctx); close(done) }()
	time.Sleep(span)
	for _, do := range during {
		do(q)
	}
	cancel()
	<-done
	all, err := All(t.Context(), m)
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]Delivery{}
	for _, d := range all {
		out[d.Key] = d
	}
	return out
}

func TestQueueRetries(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now()}
		s.say = func(d Delivery, try int) error {
			if try < 4 {
				return errors.New("421 try later")
			}
			return nil
		}
		put(m, waiting("a", "t"))
		d := runFor(t, time.Hour, m, map[string]Way{"mail": {Sender: s}})["a"]
		if d.State != Sent || d.Attempts != 4 || d.LastError != "" || d.Unknown != 0 || string(d.Raw) != "body of a" || d.MessageID != "<a>" {
			t.Errorf("got %+v", d)
		}
		// 1, 5 and 15 minutes, each up to a tenth longer.
		for i, least := range []time.Duration{0, time.Minute, 6 * time.Minute, 21 * time.Minute} {
			at, _ := time.ParseDuration(strings.Fields(s.tries[i])[1])
			if at < least || at > least+least/10+time.Second {
				t.Errorf("try %d after %s, want about %s", i+1, at, least)
			}
		}
	})
}

func TestQueueClasses(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now()}
		s.say = func(d Delivery, try int) error {
			switch {
			case d.Key == "bad":
				return &Failure{Class: Permanent, Err: errors.New("550 5.1.1 no such mailbox")}
			case d.Key == "lost" && try == 1:
				return fmt.Errorf("sending: %w", &Failure{Class: Unknown, Err: io.ErrUnexpectedEOF})
			case d.Key == "panics" && try == 1:
				panic("nil map")
			}
			return nil
		}
		pigeon := waiting("pigeon", "")
		pigeon.Way = "pigeon"
		crashed := waiting("crashed", "")
		crashed.State, crashed.Attempts = Sending, 1
		put(m, waiting("bad", ""), waiting("lost", ""), waiting("panics", ""), waiting("good", ""), pigeon, crashed)
		all := runFor(t, time.Hour, m, map[string]Way{"mail": {Sender: s}})
		var got []string
		for _, k := range slices.Sorted(maps.Keys(all)) {
			d := all[k]
			got = append(got, fmt.Sprintf("%s %s tries %d unknown %d %s", d.Key, d.State, d.Attempts, d.Unknown, d.LastError))
		}
		want := []string{
			"bad failed tries 1 unknown 0 550 5.1.1 no such mailbox",
			"crashed sent tries 2 unknown 1 ",
			"good sent tries 1 unknown 0 ",
			"lost sent tries 2 unknown 1 ",
			"panics sent tries 2 unknown 1 ",
			`pigeon failed tries 1 unknown 0 no way called "pigeon"`,
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
		}
	})
}

// A wrong password holds all that goes that way; one at a time probes it.
func TestQueueHolds(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now()}
		s.say = func(d Delivery, try int) error {
			if time.Since(s.begun) < 7*24*time.Hour {
				return &Failure{Class: Ours, Err: errors.New("535 5.7.8 wrong password")}
			}
			return nil
		}
		for i := range 20 {
			put(m, waiting(fmt.Sprint("d", i), ""))
		}
		var held map[string]string
		runFor(t, 24*time.Hour, m, map[string]Way{"mail": {Sender: s}}, func(q *Queue) { held = q.Held() })
		if want := map[string]string{"mail": "535 5.7.8 wrong password"}; !reflect.DeepEqual(held, want) {
			t.Errorf("held %v, want %v", held, want)
		}
		if n := len(s.tries); n > 24*12+4 {
			t.Errorf("%d tries in a day, want one in 5 minutes", n)
		}
		all := runFor(t, 6*24*time.Hour+time.Hour, m, map[string]Way{"mail": {Sender: s}}, func(q *Queue) { held = q.Held() })
		for k, d := range all {
			if d.State != Sent {
				t.Errorf("%s: %s %s", k, d.State, d.LastError)
			}
		}
		if len(held) > 0 {
			t.Errorf("still held: %v", held)
		}
	})
}

func TestQueueGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now()}
		s.say = func(Delivery, int) error { return errors.New("451 storm") }
		put(m, waiting("a", ""))
		ways := map[string]Way{"mail": {Sender: s}}
		if d := runFor(t, 4*24*time.Hour, m, ways)["a"]; d.State != Waiting {
			t.Errorf("after 4 days: %+v", d)
		}
		var got map[string]Ended
		tally := func(q *Queue) { got = q.Tally() }
		d := runFor(t, 2*24*time.Hour, m, ways, tally)["a"]
		if got["mail"] != (Ended{Failed: 1}) {
			t.Errorf("counted %v", got)
		}
		if d.State != Failed || d.LastError != "given up after 5 days: 451 storm" || d.Attempts > 130 {
			t.Errorf("after 6 days: %s %d %q", d.State, d.Attempts, d.LastError)
		}
		s.say = nil
		d = runFor(t, 2*time.Second, m, ways)["a"]
		if d.State != Failed {
			t.Errorf("a failed one went out by itself: %+v", d)
		}
		q := &Queue{Store: m}
		if err := q.Retry(t.Context(), "none"); !errors.Is(err, ErrNoDelivery) {
			t.Errorf("got %v", err)
		}
		if err := q.Retry(t.Context(), "a"); err != nil {
			t.Error(err)
		}
		if d = runFor(t, 2*time.Second, m, ways, tally)["a"]; d.State != Sent || got["mail"] != (Ended{Sent: 1}) {
			t.Errorf("after retry: %+v, counted %v", d, got)
		}
	})
}

// What follows on an alarm does not overtake what came first; other alarms and
// other ways do not wait for it.
func TestQueueOrder(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m, s := &Memory{}, &scripted{begun: time.Now()}
		s.say = func(d Delivery, try int) error {
			if d.Key == "1-raised" && try == 1 {
				return errors.New("450 greylisted")
			}
			return nil
		}
		first, second, other := waiting("1-raised", "t"), waiting("2-cleared", "t"), waiting("3-other", "u")
		first.Seq, second.Seq, other.Seq = 1, 2, 3
		put(m, second, first, other)
		runFor(t, time.Hour, m, map[string]Way{"mail": {Sender: s}})
		var order []string
		for _, try := range s.tries {
			order = append(order, strings.Fields(try)[0])
		}
		slices.Sort(order[:2]) // started together
		if want := []string{"1-raised", "3-other", "1-raised", "2-cleared"}; !reflect.DeepEqual(order, want) {
			t.Errorf("got %q, want %q", order, want)
		}
	})
}

func TestQueueSlowWayHoldsUpNoOther(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		m := &Memory{}
		slow := &scripted{begun: time.Now(), slow: func(Delivery) time.Duration { return 9 * time.Minute }}
		fast := &scripted{begun: time.Now()}
		for i := range 10 {
			hook := waiting(fmt.Sprint("hook-", i), "")
			hook.Way = "webhook"
			put(m, waiting(fmt.Sprint("mail-", i), ""), hook)
		}
		all := runFor(t, time.Minute, m, map[string]Way{"mail": {Sender: slow}, "webhook": {Sender: fast}})
		if len(slow.tries) != 4 || len(fast.tries) != 10 {
			t.Errorf("%d and %d tries, want 4 in flight and 10 done", len(slow.tries), len(fast.tries))
		}
		// Told to stop: what flew is written down as waiting.
		for k, d := range all {
			if want := map[bool]State{true: Sent, false: Waiting}[d.Way == "webhook"]; d.State != want {
				t.Errorf("%s: %s, want %s", k, d.State, want)
			}
		}
	})
}

// The store fails at each write in turn, before or after it is done: nothing is
// lost, and nothing goes out twice but where the mark of the try was lost too.
func TestQueueStoreFails(t *testing.T) {
	for n := 1; n <= 4; n++ {
		for _, after := range []bool{false, true} {
			synctest.Test(t, func(t *testing.T) {
				writes := 0
				m, s := &failing{Faults: deliverytest.Faults{After: after}}, &scripted{begun: time.Now()}
				m.Fail = func(string) error {
					if writes++; writes == n {
						return errors.New("no answer")
					}
					return nil
				}
				put(&m.Memory, waiting("a", "t"), waiting("b", "t"))
				all := runFor(t, time.Hour, m, map[string]Way{"mail": {Sender: s}})
				if all["a"].State != Sent || all["b"].State != Sent || len(s.tries) != 2 {
					t.Errorf("write %d, after %v: %q, %+v", n, after, s.tries, all)
				}
			})
		}
	}
}

// A queue that is told to stop while it writes that a try begins sends nothing and
// leaves the delivery as it was, for who comes after it.
func TestQueueStopsBeforeATry(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		m, s := &failing{Faults: deliverytest.Faults{Fail: func(string) error { cancel(); return nil }}}, &scripted{begun: time.Now()}
		want := waiting("a", "t")
		want.Created = want.Created.UTC().Round(0)
		put(&m.Memory, want)
		q := &Queue{Store: m, Ways: map[string]Way{"mail": {Sender: s}}, Log: slog.New(slog.DiscardHandler)}
		q.Run(ctx)
		all, err := All(t.Context(), m)
		if err != nil || !reflect.DeepEqual(all, []Delivery{want}) || len(s.tries) != 0 {
			t.Errorf("%v, tries %q\n%+v\nwant\n%+v", err, s.tries, all, want)
		}
	})
}
