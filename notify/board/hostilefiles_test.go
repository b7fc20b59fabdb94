package board_test

import (
	"encoding/csv"
	"encoding/json"
	"encoding/xml"
	"io"
	"mime"
	"net/http"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/testdata/hostile"
)

// TestHostileFiles: whatever vehicles, notes and laboratories are called, a file that is saved
// holds no formula, no line and no element of their making, and is called by a plain name.
func TestHostileFiles(t *testing.T) {
	f := hostileFleet(t)
	h := board.Handler(f.Frame)
	kinds := map[string]int{}
	seen := map[string]bool{}
	look := func(path string) {
		if seen[path] {
			return
		}
		seen[path] = true
		w := boardtest.Get(t, h, path)
		kind, _, err := mime.ParseMediaType(w.Header().Get("Content-Type"))
		if err != nil || w.Code != http.StatusOK {
			t.Errorf("%.200s: %d, %v", path, w.Code, err)
			return
		}
		kinds[kind]++
		body := w.Body.String()
		plainHeader(t, path, w.Header())
		switch kind {
		case "text/csv":
			harmlessCells(t, path, body)
		case "text/calendar":
			harmlessCalendar(t, path, body)
		case "image/svg+xml":
			harmlessPicture(t, path, body)
		case "application/x-ndjson":
			for line := range strings.Lines(body) {
				if !json.Valid([]byte(line)) {
					t.Errorf("%.200s has the line %.100q", path, line)
				}
			}
		}
	}
	for _, c := range crawl(t, h, len(hostile.Text), "/", "/due.csv", "/due.ics", "/standing.csv", "/vehicles.csv", "/said.csv") {
		if !strings.HasPrefix(c.kind, "text/html") {
			look(c.path)
		}
	}
	for _, kind := range []string{"text/csv", "text/calendar", "image/svg+xml", "application/x-ndjson"} {
		if kinds[kind] == 0 {
			t.Errorf("no %s among %v", kind, kinds)
		}
	}
}

// plainHeader: each value is one line, and a file's name has no folder.
func plainHeader(t *testing.T, path string, h http.Header) {
	t.Helper()
	for k, all := range h {
		for _, v := range all {
			if strings.IndexFunc(v, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r > 126 }) >= 0 || len(v) > 2000 {
				t.Errorf("%.200s: %s is %.200q", path, k, v)
			}
		}
	}
	kind, params, err := mime.ParseMediaType(h.Get("Content-Disposition"))
	if h.Get("Content-Disposition") == "" {
		return // the browser shows it: a picture
	}
	if name := params["filename"]; err != nil || kind != "attachment" || name == "" || strings.ContainsAny(name, "/\\\x00:*?<>|\"") || strings.HasPrefix(name, ".") || len(name) > 200 || strings.IndexFunc(name, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) }) >= 0 {
		t.Errorf("%.200s is saved as %.200q, %v", path, name, err)
	}
}

// harmlessCells: no cell begins as a formula does, unless it is a number.
func harmlessCells(t *testing.T, path, body string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(body, "\ufeff"))).ReadAll()
	if err != nil {
		t.Errorf("%.200s: %v", path, err)
	}
	for _, row := range rows {
		for _, cell := range row {
			if strings.HasPrefix(cell, "-") && strings.Trim(cell, "-.0123456789") == "" {
				continue
			}
			if cell != "" && strings.ContainsRune("=+-@\t\r\n|%", rune(cell[0])) || !utf8.ValidString(cell) || strings.ContainsAny(cell, "\x00\x1b\u202e") {
				t.Errorf("%.200s has the cell %.100q", path, cell)
			}
		}
	}
}

// harmlessCalendar: each line is a property of ours, or folded (RFC 5545, 3.1).
func harmlessCalendar(t *testing.T, path, body string) {
	t.Helper()
	open := 0
	for line := range strings.SplitSeq(strings.TrimSuffix(strings.ReplaceAll(body, "\r\n ", ""), "\r\n"), "\r\n") {
		name, value, _ := strings.Cut(line, ":")
		name, _, _ = strings.Cut(name, ";")
		switch name {
		case "BEGIN", "END":
			if value != "VCALENDAR" && value != "VEVENT" {
				t.Errorf("%.200s: %.100q", path, line)
			}
			if open++; name == "END" {
				open -= 2
			}
		case "VERSION", "PRODID", "METHOD", "UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "DESCRIPTION", "URL", "CATEGORIES", "TRANSP", "SEQUENCE", "STATUS", "NAME", "X-WR-CALNAME", "LAST-MODIFIED", "CLASS", "CALSCALE", "REFRESH-INTERVAL", "X-PUBLISHED-TTL":
		default:
			t.Errorf("%.200s: %.100q", path, line)
		}
		if strings.ContainsAny(line, "\r\n\x00\x1b") {
			t.Errorf("%.200s: %.100q", path, line)
		}
	}
	if open != 0 {
		t.Errorf("%.200s: %d that begin and do not end", path, open)
	}
}

// harmlessPicture: it draws, and neither runs nor loads anything.
func harmlessPicture(t *testing.T, path, body string) {
	t.Helper()
	for d := xml.NewDecoder(strings.NewReader(body)); ; {
		tok, err := d.Token()
		if err == io.EOF {
			return
		}
		if err != nil {
			t.Errorf("%.200s: %v", path, err)
			return
		}
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		switch e.Name.Local {
		case "script", "foreignObject", "image", "a", "use", "iframe", "animate", "set", "handler":
			t.Errorf("%.200s has an element <%s>", path, e.Name.Local)
		}
		for _, a := range e.Attr {
			if strings.HasPrefix(strings.ToLower(a.Name.Local), "on") || a.Name.Local == "href" || strings.Contains(strings.ToLower(a.Value), "javascript:") || strings.Contains(a.Value, "url(http") {
				t.Errorf("%.200s: <%s %s=%.100q>", path, e.Name.Local, a.Name.Local, a.Value)
			}
		}
	}
}
