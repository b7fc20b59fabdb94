package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"html"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify"
	"telltale/notify/people"
)

// phones is how wide a phone's screen is, in CSS pixels; 320 is what every page must fit
// into (WCAG 2.2, 1.4.10).
var phones = []int{320, 360, 390}

// paged are pages that people read: mails of the sample year, two hand-overs, and a due
// list to fill in.
func paged(t *testing.T) map[string]string {
	t.Helper()
	pages := map[string]string{}
	for i, l := range sampleLetters(t) {
		if !underCI() && i%12 > 0 { // some of them
			continue
		}
		pages["mail to "+l.to+" on "+l.date+": "+l.subject] = string(l.page)
	}
	for _, vehicle := range []string{"bus-07", "gritter-01"} {
		var stdout, stderr bytes.Buffer
		code := run(context.Background(), []string{"history", vehicle, "--html", "-", "--rules", "../../samples/rules",
			"--vehicles", "../../samples/vehicles.yaml", "../../samples/events.jsonl"}, strings.NewReader(""), &stdout, &stderr)
		if code != 0 {
			t.Fatal(stderr.String())
		}
		pages["history of "+vehicle] = stdout.String()
	}
	var work []due.Item
	for i, stage := range []alarm.Stage{"overdue", "due", "soon"} {
		work = append(work, due.Item{Vehicle: fmt.Sprint("v", i), Name: "Bus " + fmt.Sprint(i), Component: "transmission", Task: "atf", Stage: stage,
			Title: "Sample, then drain and refill the transmission, new filter", Limit: "time", DueDate: "2031-02-01", LastDone: "2029-02-01"})
	}
	_, page, fault := notify.Paper(people.Anyone("x"), "2031-02-03", "depot=north", work, nil)
	if fault != nil {
		t.Fatal(fault)
	}
	pages["list to fill in"] = page
	return pages
}

// On a phone no page is wider than the screen, so that no column is cut and nobody
// scrolls sideways.
func TestPagesFitAPhone(t *testing.T) {
	t.Parallel()
	chromium(t)
	pages := paged(t)
	for _, width := range phones {
		for name, wide := range widths(t, pages, width) {
			if wide > width {
				t.Errorf("at %d pixels %s is %d wide", width, name, wide)
			}
		}
	}
}

func chromium(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("chromium"); err != nil {
		if underCI() {
			t.Fatal("chromium is missing")
		}
		t.Skip("chromium is missing")
	}
}

// widths has chromium lay each page out at a width, and gives how wide it came out.
func widths(t *testing.T, pages map[string]string, width int) map[string]int {
	t.Helper()
	var b strings.Builder
	b.WriteString("<!doctype html><body>")
	for name, page := range pages {
		fmt.Fprintf(&b, `<iframe style="width:%dpx;height:400px;border:0" title="%s" srcdoc="%s"></iframe>`, width, html.EscapeString(name), html.EscapeString(page))
	}
	b.WriteString(`<script>onload = () => {
	const out = {}
	for (const f of document.querySelectorAll("iframe")) out[f.title] = f.contentDocument.documentElement.scrollWidth
	document.body.textContent = "widths " + JSON.stringify(out) + " end"
}</script>`)
	path := filepath.Join(t.TempDir(), "pages.html")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("chromium", "--headless", "--no-sandbox", "--dump-dom", "--virtual-time-budget=20000", "--window-size=800,800", "file://"+path).Output()
	if err != nil {
		t.Fatalf("laying pages out: %v", err)
	}
	found := regexp.MustCompile(`(?s)widths (\{.*\}) end`).FindSubmatch(out)
	got := map[string]int{}
	if found == nil || json.Unmarshal([]byte(html.UnescapeString(string(found[1]))), &got) != nil || len(got) != len(pages) {
		t.Fatalf("%d of %d pages were laid out: %.300s", len(got), len(pages), out)
	}
	return got
}

// A page prints on A4: 210 by 297 mm are 595 by 842 points (ISO 216).
func TestPagesPrintOnA4(t *testing.T) {
	t.Parallel()
	chromium(t)
	pages := paged(t)
	for name, most := range map[string]int{"list to fill in": 1, "history of bus-07": 5} {
		dir := t.TempDir()
		path, pdf := filepath.Join(dir, "page.html"), filepath.Join(dir, "page.pdf")
		if err := os.WriteFile(path, []byte(pages[name]), 0o644); err != nil {
			t.Fatal(err)
		}
		if out, err := exec.Command("chromium", "--headless", "--no-sandbox", "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+path).CombinedOutput(); err != nil {
			t.Fatalf("printing: %v\n%s", err, out)
		}
		body, err := os.ReadFile(pdf)
		if err != nil {
			t.Fatal(err)
		}
		sheets := regexp.MustCompile(`/MediaBox \[0 0 59[45][.\d]* 84[12][.\d]*\]`).FindAll(body, -1)
		if len(sheets) == 0 || len(sheets) > most {
			t.Errorf("%s prints on %d sheets of A4, want 1 to %d", name, len(sheets), most)
		}
	}
}

// No mail of the sample year says what only a rule would: no call, no operator, no
// identity of an event.
func TestSampleYearSpeaksWords(t *testing.T) {
	t.Parallel()
	program := regexp.MustCompile(`&&|\|\|| == | != |>=|<=|\$\{| \* |\bmax\(|\bmin\(|\b[a-z]\w*\("|\b(component|vehicle)\.[a-z]|\bcontains "|\? \S+ : |\b(nil|true|false)\b|/laboratory/|/workshop/|/gateway/`)
	for _, l := range sampleLetters(t) {
		if found := program.FindString(l.text + l.subject); found != "" {
			t.Errorf("%s %s: %q is in\n%s", l.to, l.date, found, l.text)
		}
	}
}
