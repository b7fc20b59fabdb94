// Package servicetest starts services inside the process for tests.
package servicetest

import (
	"log/slog"
	"testing"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/service"
	"telltale/rules"
)

// Start runs a service of its own, whose clock follows the events, with a book of one file
// in force since a moment; it ends with the test.
func Start(t testing.TB, book string, since time.Time) (*service.Service, *stream.Log) {
	t.Helper()
	srv := servertest.Embed(t, t.TempDir())
	l, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	s, err := service.Start(t.Context(), l, service.Config{ClockFollowsEvents: true})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Stop() })
	files := []rules.File{{Name: "oil.yaml", Text: []byte(book)}}
	b, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := l.PublishBook(t.Context(), since, b, files); err != nil {
		t.Fatal(err)
	}
	return s, l
}
