// Package servertest starts NATS servers for tests.
package servertest

import (
	"log/slog"
	"testing"

	"telltale/engine/stream/server"
)

// Embed starts a server inside the process on a port of its own, with its log in dir,
// that ends with the test.
func Embed(t testing.TB, dir string) *server.Server {
	t.Helper()
	srv, err := server.Embed(t.Context(), server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { srv.Close() })
	return srv
}
