package fit_test

import (
	"strings"
	"testing"
)

// TestGoesByAMeterThatSomeLack: a task that only a meter makes due, of which one of its
// vehicles has none. A limit of time beside it, or another meter, makes it due all the same.
func TestGoesByAMeterThatSomeLack(t *testing.T) {
	const more = `tasks:
  pump: {where: vehicle.kind == "sweeper", every: {hours: 500 h, of: pump hours}}
  grease: {where: vehicle.kind == "sweeper", every: {hours: 50 h}}
  axle: {where: vehicle.kind == "sweeper", every: {hours: 500 h, time: 12 months}}
  chain: {where: vehicle.kind == "sweeper", every: {hours: 500 h, distance: 5000 km}}
`
	const sweepers = `  sweeper-1: {kind: sweeper, meters: {odometer: distance, pump hours: hours}}
  sweeper-2: {kind: sweeper, meters: {odometer: distance}}
  sweeper-3: {kind: sweeper, meters: {odometer: distance}}
`
	var got []string
	for line := range strings.Lines(asked(t, more, whole+sweepers)) {
		if strings.Contains(line, "alone") {
			got = append(got, strings.TrimSpace(line))
		}
	}
	want := `own.yaml:3:3: task "pump" goes by the meter "pump hours" alone, which sweeper-2 and sweeper-3 lack: it is never due there
own.yaml:4:3: task "grease" goes by an hour meter alone, which sweeper-2 and sweeper-3 lack: it is never due there`
	if strings.Join(got, "\n") != want {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), want)
	}
}

// TestAskedOfFromElsewhere: a component that a rule on another one asks of is asked for.
func TestAskedOfFromElsewhere(t *testing.T) {
	const more = `rules:
  leak: {on: sample, where: component.kind == "diesel engine", raise: 'value("Na", "cooling system") > 3', stage: advisory, say: "x", advise: "y", source: z}
`
	got := asked(t, more, whole+"  van-1: {kind: tractor unit, components: {engine: {kind: diesel engine}, cooling: {kind: cooling system}}}\n")
	if strings.Contains(got, `kind "cooling system"`) {
		t.Error(got)
	}
}
