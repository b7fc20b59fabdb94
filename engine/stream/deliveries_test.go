package stream

import (
	"bytes"
	"errors"
	"maps"
	"slices"
	"strings"
	"testing"

	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/notify"
	"telltale/testdata/quick"
)

var _ notify.Store = (*Deliveries)(nil)

func TestDeliveries(t *testing.T) {
	quick.Beside(t)
	dir := t.TempDir()
	srv := servertest.Embed(t, dir)
	d := open(t, srv).Deliveries()
	long := strings.Repeat("long|", 100)
	want := map[string]string{
		"3-1|bus 7|ines|mail": "first", long: "second", "large": strings.Repeat("a line of a list\n", 200000), "": "no key",
	}
	keys := slices.Sorted(maps.Keys(want))
	for _, k := range keys {
		for _, first := range []bool{true, false} {
			body := want[k]
			if !first {
				body = "another"
			}
			if made, err := d.Create(t.Context(), k, []byte(body)); err != nil || made != first {
				t.Errorf("creating %.20q: %v (%v), want %v", k, made, err, first)
			}
		}
	}
	if err := d.Replace(t.Context(), long, []byte("sent")); err != nil {
		t.Fatal(err)
	}
	want[long] = "sent"
	srv.Close()

	got := map[string]string{}
	err := open(t, servertest.Embed(t, dir)).Deliveries().Each(t.Context(), func(key string, body []byte) error {
		got[key] = string(body)
		return nil
	})
	if err != nil || !maps.Equal(got, want) {
		t.Errorf("after a restart there are %d deliveries (%v), want %d", len(got), err, len(want))
	}
}

// TestNotifierFence has two notifiers: the second one to read goes on, the first
// one's next write is refused.
func TestNotifierFence(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	first, second := l.Deliveries(), l.Deliveries()
	if b, err := first.Checkpoint(t.Context()); err != nil || b != nil {
		t.Fatalf("an empty store has the checkpoint %q (%v)", b, err)
	}
	for _, s := range []string{"1", "2"} {
		if err := first.SetCheckpoint(t.Context(), []byte(s)); err != nil {
			t.Fatal(err)
		}
	}
	b, err := second.Checkpoint(t.Context())
	if err != nil || !bytes.Equal(b, []byte("2")) {
		t.Fatalf("the second one reads %q (%v)", b, err)
	}
	if err := second.SetCheckpoint(t.Context(), []byte("3")); err != nil {
		t.Fatal(err)
	}
	if err := first.SetCheckpoint(t.Context(), []byte("4")); !errors.Is(err, jet.ErrFenced) {
		t.Errorf("the first one's write: %v, want %v", err, jet.ErrFenced)
	}
	if b, err := l.Deliveries().Checkpoint(t.Context()); err != nil || string(b) != "3" {
		t.Errorf("the checkpoint is %q (%v), want 3", b, err)
	}
}

// TestDeliveryFence has a replica that was paused write a delivery that another one
// has sent meanwhile: as it was in between, that is refused, and it stays sent.
func TestDeliveryFence(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	first, second := l.Deliveries(), l.Deliveries()
	if made, err := first.Create(t.Context(), "k", []byte("waiting")); err != nil || !made {
		t.Fatal(made, err)
	}
	read := func(d *Deliveries) (got string) {
		t.Helper()
		err := d.Each(t.Context(), func(_ string, body []byte) error { got = string(body); return nil })
		if err != nil {
			t.Fatal(err)
		}
		return got
	}
	read(second)
	for _, state := range []string{"sending", "sent"} {
		if err := second.Replace(t.Context(), "k", []byte(state)); err != nil {
			t.Fatal(err)
		}
	}
	if err := first.Replace(t.Context(), "k", []byte("sending")); !errors.Is(err, jet.ErrFenced) {
		t.Errorf("the first one's write: %v, want %v", err, jet.ErrFenced)
	}
	if got := read(first); got != "sent" {
		t.Errorf("the delivery is %q, want sent", got)
	}
	if err := first.Replace(t.Context(), "k", []byte("failed")); err != nil {
		t.Errorf("after it has read again: %v", err)
	}
}

// TestDropDelivery has a delivery forgotten, unless someone has stored it since.
func TestDropDelivery(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	first, second := l.Deliveries(), l.Deliveries()
	for _, k := range []string{"old", "again"} {
		if made, err := first.Create(t.Context(), k, []byte("sent")); err != nil || !made {
			t.Fatalf("creating %q: %v (%v)", k, made, err)
		}
	}
	if err := second.Replace(t.Context(), "again", []byte("tried again")); err != nil {
		t.Fatal(err)
	}
	for _, k := range []string{"old", "again"} {
		if err := first.Drop(t.Context(), k); err != nil {
			t.Error(err)
		}
	}
	if err := first.Drop(t.Context(), "unread"); err == nil || err.Error() != `dropping delivery "unread": it was not read` {
		t.Errorf("dropping what was not read: %v", err)
	}
	got := map[string]string{}
	err := second.Each(t.Context(), func(key string, body []byte) error {
		got[key] = string(body)
		return nil
	})
	if want := map[string]string{"again": "tried again"}; err != nil || !maps.Equal(got, want) {
		t.Errorf("left are %v (%v), want %v", got, err, want)
	}
	if made, err := first.Create(t.Context(), "old", []byte("new")); err != nil || !made {
		t.Errorf("creating what was dropped: %v (%v)", made, err)
	}
}
