package main

import (
	"bytes"
	"os"
	"testing"
)

// The committed year is what the generator writes, to the byte.
func TestCommittedYear(t *testing.T) {
	var got bytes.Buffer
	if err := write(&got); err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile("../events.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got.Bytes(), want) {
		g, w := bytes.Split(got.Bytes(), []byte("\n")), bytes.Split(want, []byte("\n"))
		for i := range min(len(g), len(w)) {
			if !bytes.Equal(g[i], w[i]) {
				t.Fatalf("line %d differs:\n%s\nwant:\n%s\nrun: go run ./samples/generate > samples/events.jsonl", i+1, g[i], w[i])
			}
		}
		t.Fatalf("%d lines, want %d; run: go run ./samples/generate > samples/events.jsonl", len(g), len(w))
	}
}
