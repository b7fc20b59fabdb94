package engine_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/intake"
	"telltale/rules"
)

// TestWhy asks after each story of testdata/why*: of a rule or task, of all, or for the
// due list; and compares the whole answer, which a mechanic must be able to follow. Of
// a task, when it is due next stands before it.
func TestWhy(t *testing.T) {
	paths, err := filepath.Glob("testdata/why*.txtar")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txtar"), func(t *testing.T) { whyStory(t, path) })
	}
}

func whyStory(t *testing.T, path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a := txtar.Parse(text)
	p := engine.NewPartition()
	ticks := intake.NewTicks(false)
	var book *rules.Book
	var got bytes.Buffer
	for i := range a.Files {
		f := &a.Files[i]
		question, asked := strings.CutPrefix(f.Name, "why ")
		listed, list := strings.CutPrefix(f.Name, "due ")
		switch {
		case f.Name == "rules":
			if book, err = rules.Load([]rules.File{{Name: "rules.yaml", Text: f.Data}}); err != nil {
				t.Fatal(err)
			}
			p.Apply(bookEvent(book))
		case !asked && !list:
			var said bytes.Buffer
			foldLines(t, p, ticks, book, f, &said)
			if strings.Contains(said.String(), "refused") {
				t.Fatal(said.String())
			}
		default:
			got.Reset()
			for _, d := range p.Due(due.Query{Vehicle: listed}) {
				if list {
					fmt.Fprintf(&got, "%s: %s: %s\n", d.Stage, d.Title, d.Why)
				}
			}
			vehicle, rule, _ := strings.Cut(question, " ")
			for _, y := range p.Why(vehicle, rule) {
				if y.Due != nil && rule != "" {
					fmt.Fprintf(&got, "%s\n\n", y.Due.Next())
				}
				if rule == "" {
					fmt.Fprintln(&got, y.Headline())
				} else {
					fmt.Fprintln(&got, y.Text())
				}
			}
			answer := strings.ReplaceAll(got.String(), book.Hash[:len("sha256:")+12], "BOOK")
			if *update {
				f.Data = []byte(answer)
			} else if answer != string(f.Data) {
				t.Errorf("%s: got:\n%s\nwant:\n%s", f.Name, answer, f.Data)
			}
		}
	}
	if *update {
		if err := os.WriteFile(path, txtar.Format(a), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// Asking changes nothing: the record is the same, byte by byte, and the next event
// says the same.
func TestWhyChangesNothing(t *testing.T) {
	p := engine.NewPartition()
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte("book: 1\nrules:\n  r: {on: sample, measure: value(\"Cu\"), above: {caution: 3}}\ntasks:\n  t: {every: {distance: 10 km}}\n")}})
	if err != nil {
		t.Fatal(err)
	}
	p.Apply(bookEvent(book))
	for i, line := range []string{"2031-01-01 vehicle v van component gearbox gearbox", "2031-01-02 sample v gearbox odo 5 Cu 9"} {
		ev, err := intake.Short(line, fmt.Sprint(i), book.Units)
		if err != nil {
			t.Fatal(err)
		}
		p.Apply(ev)
	}
	before, _ := p.Encode("v")
	if n := len(p.Why("v", "")); n != 2 {
		t.Errorf("%d answers", n)
	}
	after, _ := p.Encode("v")
	if !bytes.Equal(before, after) {
		t.Errorf("before:\n%s\nafter:\n%s", before, after)
	}
	if p.Why("w", "") != nil || p.Why("v", "nothing") != nil {
		t.Error("an answer for a vehicle or rule that is not there")
	}
}
