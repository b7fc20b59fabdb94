// Package rulebook is the board's pages of the rules in force: the book, and each rule,
// task and baseline in words, as it is written, with its cases run. They only show: the
// folder puts rules in force, or telltale adopt.
package rulebook

import (
	"context"
	"embed"
	"net/http"
	"time"

	"telltale/engine/reach"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
	"telltale/notify/board/frame"
	"telltale/notify/board/rulebook/ran"
	"telltale/notify/rights"
	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/told"
)

//go:embed web/*.html
var web embed.FS

var templates = frame.Parse(web)

// Pages are the pages of the rules in force.
func Pages(f *frame.Frame) []frame.Route {
	s := &site{Frame: f, shelf: stream.NewShelf(f.Log)}
	return []frame.Route{
		{Pattern: "GET /rules", Needs: rights.Watch, Handle: s.list},
		{Pattern: "GET /rules/{name}", Needs: rights.Watch, Handle: s.part},
	}
}

type site struct {
	*frame.Frame
	shelf *stream.Shelf
}

// book is the book in force with its files; nil before the first.
type book struct {
	*rules.Book
	since time.Time
	files []rules.File
}

func (s *site) book(ctx context.Context) (*book, error) {
	hash, since, err := s.Log.BookSince(ctx)
	if err != nil || hash == "" {
		return nil, err
	}
	b, err := s.shelf.Book(ctx, hash)
	if err == nil {
		var files []rules.File
		if files, err = s.Log.BookFiles(ctx, hash); err == nil {
			return &book{b, since, files}, nil
		}
	}
	s.Logger.Error("reading the rules in force for a page", "error", err)
	return nil, &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordUnreadable, Words: wordUnreadableDo}
}

// inForce is it; a fault says so where there is none.
func (s *site) inForce(ctx context.Context) (*book, error) {
	b, err := s.book(ctx)
	if b == nil && err == nil {
		err = &frame.Fault{Status: http.StatusNotFound, Title: wordNoBook, Words: wordNoBookDo}
	}
	return b, err
}

// teller writes for whoever looks.
func (b *book) teller(v frame.Viewer) told.Teller {
	return told.Teller{Reader: english.Reader{Units: v.Units()}, Book: b.Book}
}

// file is the name of a file as people call it.
func file(name string) string { return ran.File(name) }

// reach counts how far the parts of the book reach. missing are partitions of which nobody
// could say.
func (s *site) reach(ctx context.Context) (list []reach.Part, missing []int, err error) {
	return frame.Ask(ctx, s.Frame, service.Reach, service.Question{})
}

// reachOf is how far one part reaches: nothing where it applies to no vehicle.
func reachOf(list []reach.Part, name string, task bool) reach.Part {
	for _, p := range list {
		if p.Name == name && p.Task == task {
			return p
		}
	}
	return reach.Part{Name: name, Task: task}
}
