package samples_test

import (
	"bytes"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/samples"
)

var update = flag.Bool("update", false, "write the verdicts into testdata")

// verdicts are the samples of the fleet's stories, each read on the day after it
// was reported.
var verdicts = []struct{ story, date, vehicle, component string }{
	{"half a drain: before", "2031-02-20", "bus-07", "transmission"},
	{"half a drain: the sample just after it", "2031-03-01", "bus-07", "transmission"},
	{"half a drain: half a year later", "2031-10-09", "bus-07", "transmission"},
	{"copper climbing over two samples", "2031-05-10", "bus-03", "transmission"},
	{"coolant in a transmission", "2031-09-16", "bus-10", "transmission"},
	{"silicon from new sealant", "2031-04-03", "bus-05", "transmission"},
	{"dirt that is dirt", "2031-02-12", "gritter-01", "engine"},
	{"dirt that was dirt", "2031-04-09", "gritter-01", "engine"},
	{"fluid of unknown age", "2031-01-28", "bus-12", "transmission"},
	{"a late laboratory report", "2031-06-21", "bus-04", "transmission"},
}

// TestVerdicts holds what is said of the stories' samples to testdata/verdicts.txt.
func TestVerdicts(t *testing.T) {
	got := map[string]string{}
	eachDay(t, func(date string, p *engine.Partition) {
		for _, c := range verdicts {
			if c.date != date {
				continue
			}
			for _, v := range p.Verdicts(c.vehicle, c.component) {
				got[c.story] = v.Text()
			}
		}
	})
	var b strings.Builder
	for _, c := range verdicts {
		fmt.Fprintf(&b, "== %s, read on %s\n%s\n\n", c.story, c.date, got[c.story])
		text := strings.ToLower(got[c.story])
		if text == "" || strings.Contains(text, "no wear") || !strings.Contains(text, "5 to 8 µm") {
			t.Errorf("%s: %s", c.story, text)
		}
	}
	const path = "testdata/verdicts.txt"
	if *update {
		if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if b.String() != string(want) {
		t.Errorf("the verdicts differ from %s; go test ./samples -update writes them\n%s", path, b.String())
	}
}

// eachDay folds the sample year and calls look at each midnight.
func eachDay(t *testing.T, look func(date string, p *engine.Partition)) {
	t.Helper()
	book, err := loadBook()
	if err != nil {
		t.Fatal(err)
	}
	f := &folded{partition: engine.NewPartition()}
	f.take(f.partition.Apply(engine.Event{Kind: engine.BookEvent, Data: &engine.BookData{Hash: book.Hash, Book: book}}))
	text, err := fs.ReadFile(samples.FS, "events.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	ticks, registered := intake.NewTicks(false), false
	err = intake.ReadFile(bytes.NewReader(text), func(_ int, ev engine.Event, err error) error {
		if err != nil {
			return err
		}
		if !registered {
			registered = true
			if err := f.register(ev.Recorded); err != nil {
				return err
			}
		}
		for _, tick := range ticks.Before(ev) {
			f.tick([]engine.Event{tick})
			look(tick.Time.Format("2006-01-02"), f.partition)
		}
		f.take(f.partition.Apply(ev))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
