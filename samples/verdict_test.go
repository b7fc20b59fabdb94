package samples_test

import (
	"flag"
	"fmt"
	"os"
	"strings"
	"testing"
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
	for story, read := range sampleYear(t).read {
		for _, v := range read {
			got[story] = v.Text()
		}
	}
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
