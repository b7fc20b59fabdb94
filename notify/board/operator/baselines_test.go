package operator_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/service"
	"telltale/notify/board/boardtest"
	"telltale/rules"
	"telltale/rules/english"
)

// What is usual in a fleet is what its set in force says, with the rules that compare with it.
func TestBaselines(t *testing.T) {
	var vehicles, events strings.Builder
	vehicles.WriteString("vehicles:\n")
	for i := range 12 {
		fmt.Fprintf(&vehicles, "  bus-%02d: {kind: bus, meters: {odometer: distance}, components: {motor: {kind: engine, fluid: \"F%d\"}}}\n", i, i/4)
		for n := range 3 {
			short(t, &events, "2031-0%d-10 sample bus-%02d motor age 9000 km Fe %d flash 2%d0", 2+n, i, 20+i+n, i%4)
		}
	}
	f := boardtest.New(t, boardtest.Files{Vehicles: vehicles.String(), Events: events.String(), People: "people: {ines: {mail: ines@larkfell.example, zone: Europe/London, temperature: degF, distance: mi}}\noperator: [ines]\n",
		Rules: []rules.File{{Name: "a.yaml", Text: []byte(`book: 1
baselines:
  engine oil of the fleet: {where: component.kind == "engine", from: fleet, group by: component.fluid, at least: {samples: 6, vehicles: 3}}
rules:
  iron: {on: sample, where: component.kind == "engine", measure: times("Fe"), above: {caution: 3}, say: Iron, cautions: none}
  none of it: {on: sample, where: component.kind == "engine", measure: value("Fe"), above: {caution: 300}, say: Iron, cautions: none}
`)}}})
	h := pagesOf(f)
	wants(t, get(t, h, "/baselines"), "There are none yet")
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	go func() {
		_ = f.Log.KeepBaselines(ctx, func(t time.Time) time.Time { return t.AddDate(0, 1, 0) }) // until it is stopped
	}()
	within, done := context.WithTimeout(t.Context(), 20*time.Second)
	defer done()
	if err := f.Log.AwaitBaselines(within, boardtest.Morning); err != nil {
		t.Fatal(err)
	}
	if err := f.Service.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	list, err := service.Baselines.Of(t.Context(), f.Service, service.Question{})
	if err != nil || len(list) != 3 {
		t.Fatalf("%d groups in force (%v), want 3", len(list), err)
	}
	page := get(t, h, "/baselines")
	for _, l := range list {
		wants(t, page, l.Baseline+"</a>: "+l.Of[0], fmt.Sprintf("%d samples of %d vehicles, fluid of 5,592 mi", l.Samples, l.Vehicles))
		for _, a := range l.Analytes {
			if a.Analyte == "Fe" {
				wants(t, page, fmt.Sprintf(`<th scope="row">iron (Fe), mg/kg</th><td class="num" data-of="Results">%d</td><td class="num" data-of="Mean">%s</td>`, a.N, english.Figures(a.Mean.High)))
			}
		}
	}
	wants(t, page, "drawn 10 Feb 2031 to 10 Apr 2031", "flash point (flash), °F", `<a href="/rules/iron">iron</a>`, "3 groups")
	if strings.Contains(page, "none of it") {
		t.Error("a rule that compares with nothing stands there")
	}
	wants(t, get(t, h, "/baselines?q=f1"), "1 group<")
	wants(t, get(t, h, "/baselines?q=zzz"), "No group has these words.")
}
