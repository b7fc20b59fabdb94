package main

import (
	"io"
	"net/http"
	"path/filepath"
	"strings"
	"testing"
)

// The page of the service says what is wrong with the folder's files, and how full the disk
// is, as the program knows it.
func TestBoardTellsOfTheService(t *testing.T) {
	a := startTest(t, func(s *settings) { s.Board.Listen = "127.0.0.1:0" })
	page := func() string {
		r, err := http.Get(a.look + "/service")
		if err != nil {
			t.Fatal(err)
		}
		defer r.Body.Close()
		body, err := io.ReadAll(r.Body)
		if err != nil || r.StatusCode != http.StatusOK {
			t.Fatalf("%d, %v\n%s", r.StatusCode, err, body)
		}
		return string(body)
	}
	if got := page(); !strings.Contains(got, " free of ") || !strings.Contains(got, "<dt>Folder</dt><dd>read ") || strings.Contains(got, "have faults") {
		t.Errorf("the page says\n%s", got)
	}
	write(t, a.fleet.dir, map[string]string{"people.yaml": "people: {ines: {mail: <nobody>}}\n"})
	a.reload(t.Context())
	if got := page(); !strings.Contains(got, "have faults") || !strings.Contains(got, filepath.Join(a.fleet.dir, "people.yaml")+":1:") || strings.Contains(got, "<nobody>") {
		t.Errorf("with a fault in people.yaml the page says\n%s", got)
	}
}
