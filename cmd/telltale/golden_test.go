package main

import (
	"bytes"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// stories are mails of the sample year that tell of it: to whom, on which day, and
// what stands in the subject.
var stories = []struct{ name, to, day, subject string }{
	{"caution-to-the-keeper", "tobias", "2031-02-19", "copper over baseline"},
	{"eased-to-the-keeper", "tobias", "2031-10-08", "copper over baseline"},
	{"list-of-the-keeper", "tobias", "2031-04-01", ""},
	{"dirt-to-the-foreman", "abel", "2031-02-11", "dirt in the engine oil"},
	{"list-of-the-foreman", "abel", "2031-02-10", ""},
	{"warning-to-the-manager", "ines", "2031-09-15", "coolant in the fluid"},
	{"overdue-by-law", "ines", "2031-06-15", "Annual test"},
	{"done-by-law", "ines", "2031-06-18", "Annual test"},
	{"list-of-the-manager", "ines", "2031-06-16", ""},
	{"list-of-the-workshop", "north.workshop", "2031-04-14", ""},
	{"list-of-the-library", "maud", "2031-05-01", ""},
}

// TestToldGolden holds mails of the sample year, as text and as a page, to what was
// looked at on a phone, on a desk and on paper.
func TestToldGolden(t *testing.T) {
	t.Parallel()
	found := map[string]bool{}
	for _, l := range sampleLetters(t) {
		m, err := mail.ReadMessage(bytes.NewReader(l.raw))
		if err != nil {
			t.Fatal(err)
		}
		date, err := m.Header.Date()
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range stories {
			if date.Format("2006-01-02") != s.day || !strings.Contains(m.Header.Get("To"), "<"+s.to+"@") || l.list != (s.subject == "") || !strings.Contains(m.Header.Get("Subject"), s.subject) {
				continue
			}
			found[s.name] = true
			golden(t, s.name+".txt", fmt.Sprintf("To: %s\nSubject: %s\n\n%s", m.Header.Get("To"), m.Header.Get("Subject"), plainText(t, m.Header.Get("Content-Type"), m.Body)))
			golden(t, s.name+".html", picture.ReplaceAllString(string(l.page), `src="picture"`))
		}
	}
	for _, s := range stories {
		if !found[s.name] {
			t.Errorf("no mail to %s on %s with %q in its subject", s.to, s.day, s.subject)
		}
	}
}

var picture = regexp.MustCompile(`src="data:[^"]*"`)

// golden compares got with testdata/told/name, or writes it there with -update.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", "told", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if got != string(want) {
		t.Errorf("%s differs (write it anew with -update, and look at it):\n%s", path, got)
	}
}

// plainText is the text of a mail, which stands first among its parts.
func plainText(t *testing.T, contentType string, body io.Reader) string {
	t.Helper()
	kind, params, err := mime.ParseMediaType(contentType)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(kind, "multipart/") {
		text, err := io.ReadAll(quotedprintable.NewReader(body))
		if err != nil || kind != "text/plain" {
			t.Fatalf("%s: %v", kind, err)
		}
		return strings.ReplaceAll(string(text), "\r\n", "\n")
	}
	first, err := multipart.NewReader(body, params["boundary"]).NextRawPart()
	if err != nil {
		t.Fatal(err)
	}
	return plainText(t, first.Header.Get("Content-Type"), first)
}
