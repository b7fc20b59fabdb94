package main

import (
	"io"
	"net/http"
	"net/netip"
	"path/filepath"
	"strings"
	"telltale/cmd/telltale/internal/listen"
	"telltale/notify/board/limits"
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

// Where people sign in, the board bounds what comes from an address, which a named proxy alone
// says; where nobody signs in, it bounds nothing.
func TestBoardIsBounded(t *testing.T) {
	for sign, want := range map[string]bool{"always": true, "never": false} {
		a := startTest(t, func(s *settings) {
			s.Board = listen.Board{Listen: "127.0.0.1:0", SignIn: sign}
			s.Proxies = limits.Proxies{netip.MustParsePrefix("127.0.0.0/8")}
		})
		refused := false
		for range 100 {
			r, err := http.NewRequest("GET", a.look+"/none", nil)
			if err != nil {
				t.Fatal(err)
			}
			r.Header.Set("X-Forwarded-For", "198.51.100.7")
			w, err := http.DefaultClient.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			w.Body.Close()
			refused = refused || w.StatusCode == http.StatusTooManyRequests
		}
		if refused != want {
			t.Errorf("sign in %s: refused %t", sign, refused)
		}
	}
}
