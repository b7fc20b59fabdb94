package stream

import (
	"reflect"
	"strings"
	"sync"
	"testing"

	"telltale/rules"
)

// TestBooks adopts a book, the same again, another, and the first one again.
func TestBooks(t *testing.T) {
	l := open(t, embed(t, t.TempDir()))
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
		files, err := l.bookFiles(t.Context(), book.Hash)
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
	l := open(t, embed(t, t.TempDir()))
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
	l := open(t, embed(t, t.TempDir()))
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(bookText)}})
	if err != nil {
		t.Fatal(err)
	}
	_, err = l.PublishBook(t.Context(), start, book, []rules.File{{Name: "a.yaml", Text: []byte("book: 1\n")}})
	if want := `storing book "` + book.Hash + `": the files given are not its own`; err == nil || err.Error() != want {
		t.Errorf("got %v, want %s", err, want)
	}
}
