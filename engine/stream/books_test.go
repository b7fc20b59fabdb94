package stream

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"sync"
	"testing"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream/jet"
	"telltale/engine/stream/server/servertest"
	"telltale/rules"
)

// TestBooks adopts a book, the same again, another, and the first one again.
func TestBooks(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	a := []rules.File{{Name: "a.yaml", Text: []byte(bookText)}, {Name: "b.yaml", Text: []byte("book: 1\n")}}
	b := []rules.File{{Name: "a.yaml", Text: []byte(strings.Replace(bookText, "1000 km", "2000 km", 1))}}
	for i, tt := range []struct {
		files   []rules.File
		adopted bool
	}{{a, true}, {a, false}, {b, true}, {a, true}, {a, false}} {
		book, err := rules.Load(tt.files)
		if err != nil {
			t.Fatal(err)
		}
		got, err := l.PublishBook(t.Context(), start, book, tt.files)
		if err != nil || got != tt.adopted {
			t.Errorf("adoption %d: %v (%v), want %v", i, got, err, tt.adopted)
		}
		if hash, err := l.BookInForce(t.Context()); err != nil || hash != book.Hash {
			t.Errorf("after adoption %d %s is in force (%v), want %s", i, hash, err, book.Hash)
		}
		files, err := l.BookFiles(t.Context(), book.Hash)
		if err != nil || !reflect.DeepEqual(files, tt.files) {
			t.Errorf("after adoption %d the text is %q (%v)", i, files, err)
		}
	}
	if last, err := l.LastEvent(t.Context()); err != nil || last != 3 {
		t.Errorf("%d events (%v), want one an adoption: 3", last, err)
	}
}

// TestBooksAtOnce has several replicas adopt one change: there is one event.
func TestBooksAtOnce(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	files := []rules.File{{Name: "a.yaml", Text: []byte(bookText)}}
	book, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	var wg sync.WaitGroup
	var mu sync.Mutex
	n := 0
	for range 8 {
		wg.Go(func() {
			made, err := l.PublishBook(t.Context(), start, book, files)
			mu.Lock()
			defer mu.Unlock()
			if err != nil {
				t.Error(err)
			}
			if made {
				n++
			}
		})
	}
	wg.Wait()
	if last, err := l.LastEvent(t.Context()); err != nil || last != 1 || n != 1 {
		t.Errorf("%d events, %d say they adopted it (%v), want 1", last, n, err)
	}
}

func TestBookThatIsNotItsFiles(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(bookText)}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = l.PublishBook(t.Context(), start, book, []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}})
	if want := `storing book "` + book.Hash + `": the files given are not its own`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}

// full has no room for the text of a book.
type full struct{ jetstream.JetStream }

func (f full) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	if strings.HasPrefix(m.Subject, "telltale.book.") && !strings.HasSuffix(m.Subject, ".0") {
		return nil, &jetstream.APIError{Code: 400, Description: "maximum bytes exceeded"}
	}
	return f.JetStream.PublishMsg(ctx, m, opts...)
}

// TestBookStoredFirst has the text of a book not stored in whole: then it does not
// come into force, so that no partition meets an event without its book.
func TestBookStoredFirst(t *testing.T) {
	l := open(t, servertest.Embed(t, t.TempDir()))
	adopt(t, l, bookText)
	narrow := *l
	narrow.Books = &jet.Stream{JS: full{l.JS}, S: l.Books.S, Patience: l.Books.Patience}
	files := []rules.File{{Name: "oil.yaml", Text: []byte(otherText)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	want := fmt.Sprintf("storing book %q: publishing to %q: nats: API error: code=400 err_code=0 description=maximum bytes exceeded", b.Hash, bookToken(b.Hash))
	if _, err := narrow.PublishBook(t.Context(), start, b, files); err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
	if n := count(t, l, bookSubject); n != 1 {
		t.Errorf("%d book events, want 1", n)
	}
	adopt(t, l, otherText) // once there is room
	if hash, err := l.BookInForce(t.Context()); err != nil || hash != b.Hash {
		t.Errorf("%s is in force (%v), want %s", hash, err, b.Hash)
	}
}

func adopt(t *testing.T, l *Log, text string) {
	t.Helper()
	files := []rules.File{{Name: "oil.yaml", Text: []byte(text)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.PublishBook(t.Context(), start, b, files); err != nil {
		t.Fatal(err)
	}
}

func count(t *testing.T, l *Log, subject string) int {
	t.Helper()
	n := 0
	if err := l.Events.Each(t.Context(), 1, subject, func(jetstream.Msg, uint64) error { n++; return nil }); err != nil {
		t.Fatal(err)
	}
	return n
}

var otherText = strings.Replace(bookText, "1000 km", "2000 km", 1)
