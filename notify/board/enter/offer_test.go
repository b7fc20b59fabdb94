package enter_test

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"golang.org/x/tools/txtar"

	"telltale/engine/intake"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/enter"
	"telltale/notify/board/entry"
	"telltale/rules"
	"telltale/rules/unit"
)

const fourGoodSamples = `2030-11-01 vehicle van-1 van meter odometer component engine "diesel engine" fluid oil capacity 10 L
2030-11-02 reading van-1 odometer 100000
2030-11-02T01:00 service van-1 "engine oil" on engine odometer 100000 filled 10 L flush
2031-01-01 sample van-1 engine odometer 104000 age 4000 Fe 8 Si 6 KV100 13.8 TBN 9.4 number A-1
2031-03-01 sample van-1 engine odometer 108000 age 8000 Fe 15 Si 7 KV100 13.7 TBN 8.8 number A-2
2031-05-01 sample van-1 engine odometer 112000 age 12000 Fe 23 Si 8 KV100 13.6 TBN 8.2 number A-4
`

// What the latest sample offers is said in full before somebody accepts it.
func TestAcceptTheOffer(t *testing.T) {
	story, err := os.ReadFile("../../../engine/testdata/offer.txt")
	if err != nil {
		t.Fatal(err)
	}
	files := txtar.Parse(story).Files
	var events strings.Builder
	for i, line := range strings.Split(strings.TrimSpace(fourGoodSamples), "\n") {
		ev, err := intake.Short(line, fmt.Sprint("e-", i), unit.Metric)
		if err != nil {
			t.Fatal(err)
		}
		text, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		events.WriteString(string(text) + "\n")
	}
	f := boardtest.New(t, boardtest.Files{Rules: []rules.File{{Name: "rules.yaml", Text: files[0].Data}}, People: persons, Events: events.String()})
	e := entry.New(f.Frame)
	b := board{f, f.Handler(slices.Concat(enter.Routes(e), e.Routes())...), t}
	b.want(b.get("/v/van-1/answer?rule=engine+oil&component=engine"), 200, "Accept the offer")
	accept := "/v/van-1/answer?rule=engine+oil&component=engine&answer=accept"
	p := b.get(accept)
	b.want(p, 200, "Accept the offer: Change the engine oil and filter (engine)", "The work moves to where the latest sample has it.")
	if !strings.Contains(p.text, "115,000 km") {
		t.Errorf("the page does not say from where it moves\n%s", main(p.text))
	}
	b.want(b.enter(accept, "why=three+good+samples"), 200, "Accepted: engine oil (engine)", "Engine oil (engine): due next at ")
	b.want(b.get(accept), 200, "Postpone")
	if strings.Contains(b.get(accept).text, "Accept the offer<") {
		t.Error("it is offered still")
	}
}
