package engine_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/rules"
)

var update = flag.Bool("update", false, "write what the stories give into testdata")

// TestStories folds each story in testdata: rules and events in, what was said
// out, as text that a mechanic could read.
func TestStories(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(paths) == 0 {
		t.Fatalf("no stories: %v", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) { story(t, path) })
	}
}

func story(t *testing.T, path string) {
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	a := txtar.Parse(text)
	var want *txtar.File
	p, book := engine.NewPartition(), (*rules.Book)(nil)
	p.Rename = intake.Renamed
	p.SurveyMonthly()
	var got bytes.Buffer
	ticks := intake.NewTicks(false)
	for i := range a.Files {
		f := &a.Files[i]
		switch {
		case strings.HasPrefix(f.Name, "want"):
			want = f
		case strings.HasPrefix(f.Name, "rules"):
			book, err = rules.Load([]rules.File{{Name: f.Name, Text: f.Data}})
			if err != nil {
				t.Fatal(err)
			}
			tell(&got, p.Apply(bookEvent(book)))
		case strings.HasPrefix(f.Name, "events"):
			foldLines(t, p, ticks, book, f, &got)
		}
	}
	if want == nil {
		t.Fatal("the story has no part named want")
	}
	countsKept(t, p)
	if vehicle, ok := strings.CutPrefix(want.Name, "want, and of the last samples of "); ok {
		for _, v := range p.Verdicts(vehicle, "") {
			fmt.Fprintf(&got, "\n%s\n", v.Text())
		}
	}
	if *update {
		want.Data = got.Bytes()
		if err := os.WriteFile(path, txtar.Format(a), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if got.String() != string(want.Data) {
		t.Errorf("got:\n%s\nwant:\n%s", got.String(), want.Data)
	}
}

func bookEvent(b *rules.Book) event.Event {
	return event.Event{Kind: event.BookEvent, Data: &event.BookData{Hash: b.Hash, Book: b}}
}

// foldLines folds events in short form, with a tick at each midnight that they pass.
func foldLines(t *testing.T, p *engine.Partition, ticks *intake.Ticks, book *rules.Book, f *txtar.File, got *bytes.Buffer) {
	t.Helper()
	for n, line := range strings.Split(string(f.Data), "\n") {
		if line = strings.TrimSpace(line); line == "" || line[0] == '#' {
			continue
		}
		var ev event.Event
		var err error
		if line[0] == '{' {
			ev, err = intake.Decode([]byte(line))
		} else {
			ev, err = intake.Short(line, fmt.Sprintf("%s-%d", f.Name, n+1), book.Units)
		}
		if err != nil {
			t.Fatalf("%s line %d: %v", f.Name, n+1, err)
		}
		for _, tick := range ticks.Before(ev) {
			tell(got, p.Apply(tick))
		}
		if ev.Kind != event.TickEvent {
			tell(got, p.Apply(ev))
		}
	}
}

func tell(w *bytes.Buffer, out []engine.Output) {
	for _, o := range out {
		checkWorded(w, o)
		switch {
		case o.Transition != nil:
			tr := o.Transition
			fmt.Fprintf(w, "%s %s%s: %s, %s -> %s, %s", tr.Time.Format("2006-01-02T15:04"), tr.Rule, on(tr.Component), tr.Transition, tr.From, tr.To, tr.Standing)
			if tr.Shelved {
				w.WriteString(", told to nobody")
			}
			if tr.Lapsed {
				w.WriteString(", lapsed")
			}
			if tr.Message != "" {
				fmt.Fprintf(w, "\n    %s", tr.Message)
			}
			if len(tr.FollowUps) > 0 {
				fmt.Fprintf(w, "\n    opens: %s", strings.Join(tr.FollowUps, ", "))
			}
			w.WriteByte('\n')
		case o.Refused != nil:
			fmt.Fprintf(w, "refused: %s\n", o.Refused.Refused)
		case o.NotJudged != nil:
			fmt.Fprintf(w, "%s %s%s: not judged without %s\n", o.NotJudged.Time.Format("2006-01-02T15:04"), o.NotJudged.Rule, on(o.NotJudged.Component), strings.Join(o.NotJudged.Missing, ", "))
		}
	}
}

func on(component string) string {
	if component == "" {
		return ""
	}
	return " on " + component
}
