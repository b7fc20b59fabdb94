package stream

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/stream/jet"
	"telltale/rules"
)

const bookSubject = "telltale.all.book"

// bookToken is where a book's body lies: the hash's hex digits.
func bookToken(hash string) string { return "telltale.book." + strings.TrimPrefix(hash, "sha256:") }

// PublishBook puts a book in force at the clock's time now: the body is stored
// under its hash, each file in a message of its own, then the event is published.
// If the book is in force already there is no event and adopted is false, also
// when several replicas adopt it at once. files are those the book was made of.
func (l *Log) PublishBook(ctx context.Context, now time.Time, b *rules.Book, files []rules.File) (adopted bool, err error) {
	f := l.Events.Fence(bookSubject)
	for {
		last, m, err := decodeLast(f.Latest(ctx))
		if err != nil || m != nil && last.Data.(*event.BookData).Hash == b.Hash {
			return false, err
		}
		if err := l.storeBook(ctx, b.Hash, files); err != nil {
			return false, err
		}
		// The identity names the book before it, so that a book can come back.
		msg, err := l.eventMsg(own(event.BookEvent, fmt.Sprintf("book %s after %d", b.Hash, f.Seq), now, &event.BookData{Hash: b.Hash}))
		if err != nil {
			return false, err
		}
		if err := f.Publish(ctx, msg); !jet.Fenced(err) {
			return err == nil, err
		}
	}
}

// BookInForce is the hash of the last book in the log; "" before the first.
func (l *Log) BookInForce(ctx context.Context) (string, error) {
	hash, _, err := l.BookSince(ctx)
	return hash, err
}

// BookSince is it, with when it was put in force by the log's clock.
func (l *Log) BookSince(ctx context.Context) (hash string, since time.Time, err error) {
	ev, m, err := decodeLast(l.Events.Last(ctx, bookSubject))
	if err != nil || m == nil {
		return "", time.Time{}, err
	}
	return ev.Data.(*event.BookData).Hash, ev.Time, nil
}

// storeBook writes the files and, last, the list of their names, whose presence
// says that the body is whole.
func (l *Log) storeBook(ctx context.Context, hash string, files []rules.File) error {
	if got, err := rules.Load(files); err != nil || got.Hash != hash {
		return fmt.Errorf("storing book %q: the files given are not its own", hash)
	}
	at := bookToken(hash)
	names := make([]string, len(files))
	pieces := make([][]byte, len(files))
	for i, f := range files {
		names[i], pieces[i] = f.Name, f.Text
	}
	list, err := json.Marshal(names)
	if err == nil {
		err = l.storePieces(ctx, at, pieces, list)
	}
	if err != nil {
		return fmt.Errorf("storing book %q: %w", hash, err)
	}
	return nil
}

// Book reads a book's body and compiles it. It fails if the body is gone or is
// not what its hash says.
func (l *Log) Book(ctx context.Context, hash string) (*rules.Book, error) {
	files, err := l.BookFiles(ctx, hash)
	if err != nil {
		return nil, err
	}
	b, err := rules.Load(files)
	if err != nil {
		return nil, fmt.Errorf("compiling book %q from the log: %w", hash, err)
	}
	if b.Hash != hash {
		return nil, fmt.Errorf("reading book %q: what is stored there has the hash %q", hash, b.Hash)
	}
	return b, nil
}

// BookFiles are the files of which the book of that hash was made, in order of name.
func (l *Log) BookFiles(ctx context.Context, hash string) ([]rules.File, error) {
	at := bookToken(hash)
	m, err := l.Books.Last(ctx, at)
	if err != nil {
		return nil, err
	}
	if m == nil {
		return nil, fmt.Errorf("reading book %q: its text is gone from stream %s, adopt its files again", hash, BooksStream)
	}
	var names []string
	if err := json.Unmarshal(m.Data, &names); err != nil {
		return nil, fmt.Errorf("reading book %q: %w", hash, err)
	}
	pieces, err := l.pieces(ctx, at, len(names))
	if err != nil {
		return nil, err
	}
	files := make([]rules.File, len(names))
	for i, name := range names {
		if pieces[i] == nil {
			return nil, fmt.Errorf("reading book %q: its file %q is gone from stream %s, adopt its files again", hash, name, BooksStream)
		}
		files[i] = rules.File{Name: name, Text: pieces[i]}
	}
	return files, nil
}

// storePieces stores what is too long for one message, or consists of several, and
// last what lies at the subject itself, whose presence says that it is whole.
func (l *Log) storePieces(ctx context.Context, at string, pieces [][]byte, head []byte) error {
	for i, p := range pieces {
		if err := l.Books.Store(ctx, &nats.Msg{Subject: fmt.Sprintf("%s.%d", at, i), Data: p}); err != nil {
			return err
		}
	}
	return l.Books.Store(ctx, &nats.Msg{Subject: at, Data: head})
}

// pieces reads n pieces; nil for each that is gone.
func (l *Log) pieces(ctx context.Context, at string, n int) ([][]byte, error) {
	out := make([][]byte, n)
	for i := range out {
		m, err := l.Books.Last(ctx, fmt.Sprintf("%s.%d", at, i))
		if err != nil {
			return nil, err
		}
		if m != nil {
			out[i] = append([]byte{}, m.Data...)
		}
	}
	return out, nil
}

// Shelf reads each book and each set of the fleet's baselines once for all
// partitions, which only read them. It is safe for concurrent use.
type Shelf struct {
	log   *Log
	mu    sync.Mutex
	books map[string]*rules.Book
	sets  map[string]*fleet.Set
}

// NewShelf is an empty one.
func NewShelf(l *Log) *Shelf {
	return &Shelf{log: l, books: map[string]*rules.Book{}, sets: map[string]*fleet.Set{}}
}

// Book is the book of that hash, compiled; nil for "".
func (s *Shelf) Book(ctx context.Context, hash string) (*rules.Book, error) {
	return shelved(&s.mu, s.books, hash, 8, func() (*rules.Book, error) { return s.log.Book(ctx, hash) })
}

// Baselines is the set of that hash; nil, and a line for the operator, where its
// text is gone: then nothing is judged by it, and the next survey makes another.
func (s *Shelf) Baselines(ctx context.Context, hash string) (*fleet.Set, error) {
	set, err := shelved(&s.mu, s.sets, hash, 4, func() (*fleet.Set, error) { return s.log.set(ctx, hash) })
	if errors.Is(err, errGone) {
		s.log.Logger.Error("fleet baselines missing; samples are not compared with the fleet until the next survey", "error", err)
		return nil, nil
	}
	return set, err
}

// shelved is what is kept under a hash, read if need be. Partitions that lag may
// need some earlier ones, most of which are kept.
func shelved[T any](mu *sync.Mutex, kept map[string]*T, hash string, most int, read func() (*T, error)) (*T, error) {
	if hash == "" {
		return nil, nil
	}
	mu.Lock()
	defer mu.Unlock()
	if v := kept[hash]; v != nil {
		return v, nil
	}
	v, err := read()
	if err != nil {
		return nil, err
	}
	if len(kept) >= most {
		clear(kept)
	}
	kept[hash] = v
	return v, nil
}
