package cases_test

import (
	"testing"

	"telltale/engine/cases"
	"telltale/rules"
)

// TestOverAChapter: what a fleet puts over a chapter's task and rule makes none of the
// chapter's cases fail, and is what its own cases show.
func TestOverAChapter(t *testing.T) {
	const chapter = `book: 1
tasks:
  engine oil: {every: {distance: 15000 km}, early: {distance: 1000 km}, unknown history: from first reading}
rules:
  hot: {on: reading, raise: odometer() > 20000, stage: advisory, say: "x", advise: "y", source: z}
cases:
  the chapter's oil:
    given: [2031-01-01 vehicle van-1 van meter odometer, 2031-01-02 reading van-1 odometer 0 km, 2031-03-01 reading van-1 odometer 14500 km, 2031-05-01 reading van-1 odometer 20500 km]
    expect: [{on: 2031-03-01, rule: engine oil, to: soon}, {on: 2031-05-01, rule: engine oil, to: overdue}, {on: 2031-05-01, rule: hot, to: advisory}]
`
	const own = `book: 1
tasks:
  oil of ours: {over: engine oil, every: {distance: 8000 km}, unknown history: from first reading}
rules:
  hot of ours: {over: hot, on: reading, raise: odometer() > 90000, stage: advisory, say: "x", advise: "y", source: z}
cases:
  our oil:
    given: [2031-01-01 vehicle van-1 van meter odometer, 2031-01-02 reading van-1 odometer 0 km, 2031-03-01 reading van-1 odometer 8500 km]
    expect: [{on: 2031-03-01, rule: oil of ours, to: overdue}]
    of: [engine oil, oil of ours]
`
	b, err := rules.Load([]rules.File{{Name: "chapter.yaml", Text: []byte(chapter)}, {Name: "own.yaml", Text: []byte(own)}})
	if err != nil {
		t.Fatal(err)
	}
	results, _ := cases.Run(b, nil)
	if len(results) != 2 {
		t.Fatalf("%d cases were run", len(results))
	}
	for _, r := range results {
		if !r.OK() {
			t.Error(r.String())
		}
	}
}
