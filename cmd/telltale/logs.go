package main

import (
	"io"
	"log/slog"
)

// newLogger writes text to a terminal, where a person reads it, and a JSON object
// a line to everything else.
func newLogger(w io.Writer) *slog.Logger {
	if terminal(w) {
		return slog.New(slog.NewTextHandler(w, nil))
	}
	return slog.New(slog.NewJSONHandler(w, nil))
}
