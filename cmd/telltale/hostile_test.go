package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"net/mail"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"

	"telltale/testdata/hostile"
	"telltale/testdata/hostile/named"
)

// TestHostileNames runs what nobody should write into a name or a note through all
// that the program prints and writes: no line begins as the text would have it, no
// terminal is driven, no cell is a formula, no page has markup of its own. What is
// refused is refused with its reason, and the other vehicles are served.
func TestHostileNames(t *testing.T) {
	t.Parallel()
	events, vehicles := named.Events(t), len(hostile.Text)
	people := "people:\n  ines: {mail: ines@larkfell.example, digest: \"0 7 * * *\"}\n  program: {file: told}\n"
	for n := range vehicles { // one each, so that no flood is made a summary of
		people += fmt.Sprintf("  p-%02d: {mail: p-%02d@larkfell.example}\n", n, n)
	}
	dir := folder(t, map[string]string{
		"rules/all.yaml": named.Book, "telltale.yaml": "clock: events\nanswers: {listen: 127.0.0.1:0}\n", "events.jsonl": events,
		"people.yaml": people + "tell:\n  all: {who: [ines, people of the vehicle, program]}\n",
	})
	files := filepath.Join(dir, "events.jsonl")
	serving(t, dir)
	if code, _, said := told(t, "send", "--dir", dir, files); code > 1 {
		t.Fatal(said)
	} else {
		harmlessOnTerminal(t, "send", said)
	}
	if !poll(patience, func() bool {
		return strings.Count(telltale(t, "alarms", "--dir", dir), "iron, ") == vehicles
	}) {
		t.Fatalf("alarms:\n%s", telltale(t, "alarms", "--dir", dir))
	}
	for _, args := range [][]string{{"due"}, {"alarms", "--all"}, {"refused"}, {"deliveries"}, {"deliveries", "--left"}, {"due", "--ahead", "90"}} {
		_, out, said := told(t, append(args, "--dir", dir)...)
		harmlessOnTerminal(t, strings.Join(args, " "), out)
		harmlessOnTerminal(t, strings.Join(args, " ")+", beside", said)
	}
	harmlessTable(t, "due", telltale(t, "due", "--csv", "--dir", dir))
	harmlessOnTerminal(t, "replay", telltale(t, "replay", "--rules", filepath.Join(dir, "rules"), files))
	for n := range vehicles {
		v := fmt.Sprintf("v-%02d", n)
		harmlessOnTerminal(t, "history "+v, telltale(t, "history", v, "--dir", dir))
		harmlessTable(t, "history "+v, telltale(t, "history", v, "--csv", "--dir", dir))
		harmlessPage(t, "history "+v, telltale(t, "history", v, "--html", "-", "--dir", dir))
	}
	heard := map[string]bool{}
	if !poll(patience, func() bool {
		mails, err := filepath.Glob(filepath.Join(dir, "mail", "*.eml"))
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range mails {
			heard[harmlessMail(t, name)] = true
		}
		return len(heard) > vehicles // Ines, too
	}) {
		t.Errorf("%d people had mails, want those of %d vehicles and Ines", len(heard), vehicles)
	}
}

// harmlessMail: one address and no other, nothing but ASCII in the headers. It returns
// the address.
func harmlessMail(t *testing.T, name string) string {
	t.Helper()
	raw, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(raw), "\r\n\r\n")
	m, err := mail.ReadMessage(bytes.NewReader(raw))
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	to, err := m.Header.AddressList("To")
	if err != nil || len(to) != 1 || strings.Contains(head, "\nBcc:") || len(raw) > 700<<10 || strings.IndexFunc(head, func(r rune) bool { return r > 126 }) >= 0 {
		t.Fatalf("%s: %v, %.300q", name, err, head)
	}
	return to[0].Address
}

// harmlessOnTerminal: nothing that drives a terminal or turns its writing around, and
// no line that a text made.
func harmlessOnTerminal(t *testing.T, of, out string) {
	t.Helper()
	if !utf8.ValidString(out) {
		t.Errorf("%s: not UTF-8", of)
	}
	for line := range strings.Lines(out) {
		line = strings.TrimSuffix(line, "\n")
		if strings.IndexFunc(line, func(r rune) bool {
			return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029'
		}) >= 0 {
			t.Errorf("%s: a control or a direction mark in %.200q", of, line)
		}
		if start := strings.TrimLeft(line, " "); strings.HasPrefix(start, "Bcc:") || strings.HasPrefix(start, "[Cleared]") || strings.HasPrefix(start, "MAIL FROM") {
			t.Errorf("%s: a line of the text's own making: %.200q", of, line)
		}
	}
}

// harmlessTable: no cell begins as a formula does, unless it is a number.
func harmlessTable(t *testing.T, of, out string) {
	t.Helper()
	rows, err := csv.NewReader(strings.NewReader(out)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", of, err)
	}
	for _, row := range rows {
		for _, cell := range row {
			harmlessOnTerminal(t, of, cell)
			if strings.HasPrefix(cell, "-") && strings.Trim(cell, "-.0123456789") == "" {
				continue
			}
			if cell != "" && strings.ContainsRune("=+-@\t\r\n|%", rune(cell[0])) {
				t.Errorf("%s: the cell %.100q", of, cell)
			}
		}
	}
}

// harmlessPage: the tags are the page's own.
func harmlessPage(t *testing.T, of, out string) {
	t.Helper()
	harmlessOnTerminal(t, of, strings.ReplaceAll(out, "\t", ""))
	for _, tag := range []string{"<script", "<img src=x", "<!--", "<b>"} {
		if strings.Contains(out, tag) {
			t.Errorf("%s: %s in the page", of, tag)
		}
	}
	if strings.Count(out, "<style") != strings.Count(out, "</style") || strings.Count(out, "</title") != 1 {
		t.Errorf("%s: the page is torn", of)
	}
}
