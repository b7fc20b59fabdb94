package fit_test

import (
	"strings"
	"testing"
)

// TestNamedButNotThere: a meter or component that is named, and that none of the vehicles
// has to which the task or rule applies.
func TestNamedButNotThere(t *testing.T) {
	const more = `tasks:
  pump: {where: vehicle.kind == "sweeper", every: {hours: 500 h, of: pump hour}}
  engine: {where: vehicle.kind == "sweeper", every: {hours: 250 h, of: engine hours}}
rules:
  idling: {on: reading, where: vehicle.kind == "sweeper", raise: meter("idle hours") > 3 * meter("pump hours"), stage: advisory, say: "x", advise: "y", source: z}
  leak: {on: sample, where: component.kind == "diesel engine", raise: 'value("Na") > value("Na", "colling") || value("K", "cooling system") > 3', stage: advisory, say: "x", advise: "y", source: z}
`
	const sweeper = `  sweeper-1:
    kind: sweeper
    meters: {engine hours: hours, pump hours: hours}
    components: {engine: {kind: diesel engine}, cooling: {kind: cooling system}}
`
	got := asked(t, more, whole+sweeper)
	var first []string
	for line := range strings.Lines(got) {
		if strings.Contains(line, "that it applies to") || strings.Contains(line, "did you mean") || strings.Contains(line, "they have") {
			first = append(first, strings.TrimSpace(line))
		}
	}
	want := `own.yaml:3:3: task "pump" counts by the meter "pump hour", which no vehicle has that it applies to
hint: did you mean ` + "`pump hours`" + `?
own.yaml:6:3: rule "idling" asks the meter "idle hours", which no vehicle has that it applies to
hint: they have engine hours and pump hours
own.yaml:7:3: rule "leak" asks of the component "colling", which no vehicle has that it applies to
hint: did you mean ` + "`cooling`" + `?`
	if strings.Join(first, "\n") != want {
		t.Errorf("got\n%s\nwant\n%s\nof\n%s", strings.Join(first, "\n"), want, got)
	}
}
