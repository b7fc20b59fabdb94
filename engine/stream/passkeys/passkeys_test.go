package passkeys

import (
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"reflect"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
)

func log(t *testing.T) *stream.Log {
	t.Helper()
	l, err := stream.Open(t.Context(), servertest.Embed(t, t.TempDir()).Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	return l
}

func add(id string) func(*Holder) error {
	return func(h *Holder) error {
		h.Keys = append(h.Keys, Key{ID: []byte(id), Device: "a phone", Added: time.Date(2031, 6, 6, 5, 31, 0, 0, time.UTC), Credential: json.RawMessage(`{}`)})
		return nil
	}
}

// TestStore has passkeys of two people, one of whom has a name that no key can hold.
func TestStore(t *testing.T) {
	l := log(t)
	s := Open(l)
	if h, err := s.Of(t.Context(), "ines"); err != nil || !reflect.DeepEqual(h, Holder{Person: "ines"}) {
		t.Fatalf("before there is any: %+v (%v)", h, err)
	}
	const odd = "Maud > * . Ashgrove\x00é"
	for _, person := range []string{"ines", odd, "ines"} {
		if err := s.Change(t.Context(), person, add("of "+person)); err != nil {
			t.Fatal(err)
		}
	}
	ines, err := s.Of(t.Context(), "ines")
	if err != nil || len(ines.Keys) != 2 || len(ines.Handle) != handleSize {
		t.Fatalf("%+v (%v)", ines, err)
	}
	other := Open(l) // of another replica
	if got, err := other.By(t.Context(), ines.Handle); err != nil || !reflect.DeepEqual(got, ines) {
		t.Errorf("by the handle: %+v (%v), want %+v", got, err, ines)
	}
	if k := ines.Key([]byte("of ines")); k == nil || k != &ines.Keys[0] || ines.Key([]byte("of maud")) != nil {
		t.Errorf("the passkey is %+v", k)
	}
	for _, forged := range [][]byte{nil, {}, []byte("ines"), make([]byte, handleSize), append([]byte("x"), ines.Handle[1:]...), append(ines.Handle, 0)} {
		if h, err := s.By(t.Context(), forged); !errors.Is(err, ErrNone) {
			t.Errorf("handle %x is of %q (%v)", forged, h.Person, err)
		}
	}
	counted(t, s, map[string]int{"ines": 2, odd: 1})
	refused := errors.New("no")
	if err := s.Change(t.Context(), "ines", func(h *Holder) error { h.Keys = nil; return refused }); !errors.Is(err, refused) {
		t.Errorf("refused: %v", err)
	}
	if again, err := s.Of(t.Context(), "ines"); err != nil || !reflect.DeepEqual(again, ines) {
		t.Errorf("what was refused changed %+v (%v)", again, err)
	}
	if err := s.Change(t.Context(), "ines", func(h *Holder) error { h.Keys = nil; return nil }); err != nil {
		t.Fatal(err)
	}
	counted(t, s, map[string]int{odd: 1})
}

// counted compares how many passkeys each has.
func counted(t *testing.T, s *Store, want map[string]int) {
	t.Helper()
	all, err := s.All(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]int{}
	for person, h := range all {
		got[person] = h.Opening("")
	}
	if !maps.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// TestOpens: a passkey opens while its person has the address of then, and until it was seen
// to be copied.
func TestOpens(t *testing.T) {
	of := Key{Mail: "a"}
	copied := Key{Mail: "a", Copied: time.Date(2031, 6, 6, 0, 0, 0, 0, time.UTC)}
	if !of.Opens("a") || of.Opens("b") || of.Opens("") || copied.Opens("a") {
		t.Error("a passkey opens what it should not, or not what it should")
	}
	if h := (Holder{Keys: []Key{of, copied, of, {}}}); h.Opening("a") != 2 || h.Opening("") != 1 || h.Opening("b") != 0 {
		t.Errorf("%d, %d and %d open", h.Opening("a"), h.Opening(""), h.Opening("b"))
	}
}

// TestPrivate has whoever reaches the port try to read passkeys, and to put one of their own
// among them.
func TestPrivate(t *testing.T) {
	srv := servertest.Embed(t, t.TempDir())
	l, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	s := Open(l)
	if err := s.Change(t.Context(), "ines", add("hers")); err != nil {
		t.Fatal(err)
	}
	refused := make(chan error, 10)
	stranger, err := nats.Connect(srv.URL(), nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { refused <- err }))
	if err != nil {
		t.Fatal(err)
	}
	defer stranger.Close()
	forged := `{"person":"ines","handle":"AA==","keys":[{"id":"AA=="}]}`
	for _, subject := range []string{"$KV." + bucket + "." + keyOf("ines"), "$JS.API.STREAM.MSG.GET.KV_" + bucket, "$JS.API.DIRECT.GET.KV_" + bucket + ".$KV." + bucket + "." + keyOf("ines"),
		"$JS.API.CONSUMER.CREATE.KV_" + bucket, "$JS.API.STREAM.PURGE.KV_" + bucket} {
		if err := stranger.PublishRequest(subject, "_INBOX.stranger", []byte(forged)); err != nil {
			t.Fatal(err)
		}
		if err := <-refused; !errors.Is(err, nats.ErrPermissionViolation) {
			t.Errorf("%s: %v", subject, err)
		}
	}
	if h, err := Open(l).Of(t.Context(), "ines"); err != nil || h.Key([]byte("hers")) == nil || len(h.Keys) != 1 {
		t.Errorf("%+v (%v)", h, err)
	}
}

// TestTogether has several replicas change one person's passkeys at once: none is lost.
func TestTogether(t *testing.T) {
	l := log(t)
	var wg sync.WaitGroup
	const many = 6
	for i := range many {
		s := Open(l)
		wg.Go(func() {
			if err := s.Change(t.Context(), "ines", add(fmt.Sprint(i))); err != nil {
				t.Error(err)
			}
		})
	}
	wg.Wait()
	h, err := Open(l).Of(t.Context(), "ines")
	if err != nil || len(h.Keys) != many {
		t.Errorf("%d passkeys (%v), want %d", len(h.Keys), err, many)
	}
	if got, err := Open(l).By(t.Context(), h.Handle); err != nil || got.Person != "ines" {
		t.Errorf("by the handle: %+v (%v)", got, err)
	}
}
