// Package named has a fleet of which all names and notes are hostile text.
package named

import (
	"fmt"
	"strings"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/testdata/hostile"
	"testing"
	"time"
)

// Book asks for work and judges samples of them all.
const Book = `book: 1
units: {distance: km}
tasks:
  oil: {title: Change the oil, where: component.kind == "diesel engine", every: {distance: 1000 km}, tolerance: 10%, unknown history: due, cautions: [hot fluid], needs: [{fluid: oil, volume: 4 L}]}
rules:
  iron: {on: sample, measure: value("Fe"), above: {warning: 100}, say: 'Iron of ${component.name} in ${vehicle.name}', advise: Stop and have it inspected., cautions: none}
`

// Events are a vehicle each of all that a name or a note may hold, with
// readings, work, a sample and an answer.
func Events(t testing.TB) string {
	t.Helper()
	t.Helper()
	type object = map[string]any
	var b strings.Builder
	write := func(n int, name, at string, data object) {
		kind, _ := event.KindOf(name)
		when, _ := time.Parse(time.RFC3339, at)
		line, err := intake.Encode(event.Event{ID: event.ID{Source: "/test", ID: fmt.Sprint(name, n, at)}, Kind: kind,
			Vehicle: fmt.Sprintf("v-%02d", n), Time: when, Data: data})
		if err != nil {
			t.Fatal(err)
		}
		b.Write(append(line, '\n'))
	}
	for n, h := range hostile.Text {
		for at, name := range []string{"Bus", h} { // where the second is refused, the first stands
			write(n, "vehicle", fmt.Sprintf("2031-01-01T0%d:00:00Z", at+4), object{"name": name, "kind": name, "tags": object{"depot": name}, "people": []string{fmt.Sprintf("p-%02d", n)},
				"meters": []object{{"name": "odometer", "kind": "distance"}}, "components": []object{{"name": "engine", "kind": "diesel engine", "fluid": name}}})
		}
		write(n, "reading", "2031-01-01T06:00:00Z", object{"meter": "odometer", "value": 1000, "unit": "km"})
		write(n, "service", "2031-01-02T06:00:00Z", object{"tasks": []string{"oil"}, "component": "engine", "meters": object{"odometer": object{"value": 1100, "unit": "km"}}, "by": h, "note": h})
		for day, lab := range []string{"valley", h} {
			write(n, "sample", fmt.Sprintf("2031-01-0%dT07:00:00Z", day+3), object{"number": fmt.Sprint("L-", day), "revision": 1, "component": "engine",
				"laboratory": lab, "method": lab, "results": []object{{"analyte": "Fe", "value": 200, "unit": "mg/kg"}}})
		}
		write(n, "answer", "2031-01-04T06:00:00Z", object{"answer": "acknowledge", "rule": "iron", "component": "engine", "by": h, "why": h})
		write(n, "reading", "2031-01-05T06:00:00Z", object{"meter": "odometer", "value": 2500, "unit": "km"})
	}
	return b.String()
}
