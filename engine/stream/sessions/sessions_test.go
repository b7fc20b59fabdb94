package sessions

import (
	"context"
	"errors"
	"log/slog"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
)

var start = time.Date(2031, 6, 6, 5, 31, 0, 0, time.UTC)

func open(t *testing.T) (*stream.Log, *Sessions) {
	t.Helper()
	l, err := stream.Open(t.Context(), servertest.Embed(t, t.TempDir()).Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return l, New(l)
}

func begin(t *testing.T, ss *Sessions, s Session, now time.Time) string {
	t.Helper()
	token, err := ss.Begin(t.Context(), s, now)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// ends looks for a session at a time, and fails unless it is there until then alone.
func ends(t *testing.T, ss *Sessions, token string, end time.Time) {
	t.Helper()
	if _, err := ss.Find(t.Context(), token, end); !errors.Is(err, ErrNone) {
		t.Errorf("at its end: %v, want none", err)
	}
}

func TestSession(t *testing.T) {
	l, ss := open(t)
	token := begin(t, ss, Session{Who: "/people/ines", How: Link, Device: "a phone"}, start)
	want := Session{ID: Hash(token), Who: "/people/ines", How: Link, Since: start, Seen: start, Device: "a phone"}
	other := New(l) // of another replica
	if got, err := other.Find(t.Context(), token, start.Add(time.Minute)); err != nil || got != want {
		t.Errorf("another replica finds %+v (%v), want %+v", got, err, want)
	}
	if _, err := ss.Find(t.Context(), want.ID, start); !errors.Is(err, ErrNone) {
		t.Errorf("the session's name opens it: %v", err)
	}
	for _, forged := range []string{"", "x", token[1:], token + "x", "*", ">", "session.*"} {
		if _, err := ss.Find(t.Context(), forged, start); !errors.Is(err, ErrNone) {
			t.Errorf("token %q: %v, want none", forged, err)
		}
	}
	if err := other.End(t.Context(), want.ID); err != nil {
		t.Fatal(err)
	}
	ends(t, ss, token, start.Add(time.Minute))
	if err := ss.End(t.Context(), want.ID); err != nil {
		t.Errorf("ended twice: %v", err)
	}
}

// TestEnds has sessions that are used at intervals, and those that are not.
func TestEnds(t *testing.T) {
	_, ss := open(t)
	for _, c := range []struct {
		who         string
		idle, whole time.Duration
	}{{"/people/ines", IdlePerson, WholePerson}, {"/devices/bay", IdleDevice, WholeDevice}, {"/people/boss", IdleOperator, WholePerson}} {
		ss.Idle = func(s *Session) time.Duration {
			if s.Who == "/people/boss" {
				return IdleOperator
			}
			return Idle(s)
		}
		unused := begin(t, ss, Session{Who: c.who}, start)
		if _, err := ss.Find(t.Context(), unused, start.Add(c.idle-time.Second)); err != nil {
			t.Errorf("%s, just before it is idle: %v", c.who, err)
		}
		ends(t, ss, unused, start.Add(2*c.idle))
		used := begin(t, ss, Session{Who: c.who}, start)
		for now := start; now.Before(start.Add(c.whole)); now = now.Add(c.idle - time.Second) {
			if _, err := ss.Find(t.Context(), used, now); err != nil {
				t.Fatalf("%s, after %v of use: %v", c.who, now.Sub(start), err)
			}
		}
		ends(t, ss, used, start.Add(c.whole))
		if list, err := ss.Of(t.Context(), c.who, start.Add(c.whole)); err != nil || list != nil {
			t.Errorf("%s: %v are left (%v)", c.who, list, err)
		}
	}
}

// TestSeen has a session noted as used at most each ten minutes.
func TestSeen(t *testing.T) {
	_, ss := open(t)
	token := begin(t, ss, Session{Who: "/people/ines"}, start)
	for _, c := range []struct{ after, seen time.Duration }{{time.Minute, 0}, {9 * time.Minute, 0}, {10 * time.Minute, 10 * time.Minute}, {15 * time.Minute, 10 * time.Minute}, {time.Hour, time.Hour}} {
		got, err := ss.Find(t.Context(), token, start.Add(c.after))
		if err != nil || !got.Seen.Equal(start.Add(c.seen)) {
			t.Errorf("after %v: seen at %v (%v), want after %v", c.after, got.Seen, err, c.seen)
		}
	}
}

// TestServerEnds has the server itself forget a session, also one whose use was noted: the
// time to live of a message is lost with an update that does not repeat it.
func TestServerEnds(t *testing.T) {
	l, ss := open(t)
	soon := start.Add(2 * time.Second)
	if err := ss.Create(t.Context(), "link.a", "1", start, soon); err != nil {
		t.Fatal(err)
	}
	var v string
	mark, err := ss.Get(t.Context(), "link.a", start, &v)
	if err == nil {
		_, err = ss.Update(t.Context(), mark, "2", start)
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ss.Get(t.Context(), "link.a", soon, &v); !errors.Is(err, ErrNone) {
		t.Errorf("at its end by the clock that was given: %v", err)
	}
	kv, err := l.JS.KeyValue(t.Context(), bucket)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	w, err := kv.Watch(ctx, "link.a")
	if err != nil {
		t.Fatal(err)
	}
	for {
		select {
		case e := <-w.Updates():
			if e != nil && e.Operation() == jetstream.KeyValuePut && string(e.Value()) == "" {
				t.Fatal("an empty value")
			}
			if e != nil && e.Operation() != jetstream.KeyValuePut {
				return
			}
		case <-ctx.Done():
			t.Fatal("the server keeps a value that is over")
		}
	}
}

func TestTen(t *testing.T) {
	_, ss := open(t)
	var tokens []string
	for i := range Most + 3 {
		tokens = append(tokens, begin(t, ss, Session{Who: "/people/ines"}, start.Add(time.Duration(i)*time.Minute)))
	}
	other := begin(t, ss, Session{Who: "/people/maud"}, start)
	now := start.Add(time.Hour)
	for i, token := range tokens {
		if _, err := ss.Find(t.Context(), token, now); (err == nil) != (i >= 3) {
			t.Errorf("session %d: %v", i, err)
		}
	}
	all, err := ss.Of(t.Context(), "/people/ines", now)
	if err != nil || len(all) != Most || all[0].ID != Hash(tokens[3]) {
		t.Errorf("%d sessions (%v), want %d from the fourth on", len(all), err, Most)
	}
	if err := ss.EndAll(t.Context(), "/people/ines", all[4].ID, now); err != nil {
		t.Fatal(err)
	}
	if left, err := ss.Of(t.Context(), "", now); err != nil || len(left) != 2 {
		t.Errorf("%v are left (%v), want one of each", left, err)
	}
	if _, err := ss.Find(t.Context(), other, now); err != nil {
		t.Errorf("another's session: %v", err)
	}
}

func TestRenew(t *testing.T) {
	_, ss := open(t)
	old := begin(t, ss, Session{Who: "/people/ines", How: Link}, start)
	later := start.Add(time.Hour)
	token, err := ss.Renew(t.Context(), Hash(old), Session{Who: "/people/ines", How: Passkey, Strong: later}, later)
	if err != nil || token == old {
		t.Fatalf("the same token (%v)", err)
	}
	ends(t, ss, old, later)
	if s, err := ss.Find(t.Context(), token, later); err != nil || !s.Strong.Equal(later) || s.How != Passkey {
		t.Errorf("%+v (%v)", s, err)
	}
}

// TestOnce has many take one value, and many change one.
func TestOnce(t *testing.T) {
	_, ss := open(t)
	const many = 20
	if err := ss.Create(t.Context(), "link.a", 0, start, start.Add(time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := ss.Create(t.Context(), "link.a", 0, start, start.Add(time.Minute)); !errors.Is(err, ErrChanged) {
		t.Errorf("made twice: %v", err)
	}
	if err := ss.Create(t.Context(), "link.a", 0, start.Add(time.Minute), start.Add(time.Hour)); err != nil {
		t.Errorf("made in place of one that is over: %v", err)
	}
	for name, try := range map[string]func(Mark) error{
		"change": func(m Mark) error { _, err := ss.Update(t.Context(), m, 1, start); return err },
		"take":   func(m Mark) error { return ss.Take(t.Context(), m) },
	} {
		var n int
		if err := ss.Create(t.Context(), "link."+name, 0, start, start.Add(time.Minute)); err != nil {
			t.Fatal(err)
		}
		m, err := ss.Get(t.Context(), "link."+name, start, &n)
		if err != nil {
			t.Fatal(err)
		}
		var wg sync.WaitGroup
		var done atomic.Int32
		for range many {
			wg.Go(func() {
				switch err := try(m); {
				case err == nil:
					done.Add(1)
				case !errors.Is(err, ErrChanged):
					t.Error(err)
				}
			})
		}
		wg.Wait()
		if done.Load() != 1 {
			t.Errorf("%s: %d succeeded, want 1", name, done.Load())
		}
	}
}

// TestDevice has headers as browsers write them, and hostile ones.
func TestDevice(t *testing.T) {
	for header, want := range map[string]string{
		"Browser/5.0 (System 14; Mobile; rv:131.0) Engine/131.0":     "a phone",
		"Browser/5.0 (System; like another) Engine/605.1 Mobile/15E": "a phone",
		"Browser/5.0 (System 14; Tablet; rv:131.0) Engine/131.0":     "a tablet",
		"Browser/5.0 (Tablet; System) Engine/12.16 Mobile":           "a tablet",
		"Browser/5.0 (System; x86_64) Engine/537.36":                 "a computer",
		"": "a device", "<script>": "a device", "program/1.0": "a device", "\x00\u202eMobi": "a phone",
		strings.Repeat("x", 1<<10) + "Mobi": "a device",
	} {
		if got := Device(header); got != want {
			t.Errorf("%q: %q, want %q", header, got, want)
		}
	}
}
