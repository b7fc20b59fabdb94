package people

import (
	"testing"

	"telltale/rules/unit"
)

// Whoever says nothing of a unit reads in the folder's, and whoever says it in their own.
func TestReading(t *testing.T) {
	d, err := Parse("people.yaml", []byte(`people:
  maud: {distance: km, pressure: bar}
  orla: {temperature: degF, pressure: psi}
  sam: {}
`))
	if err != nil {
		t.Fatal(err)
	}
	there := d.Reading(unit.System{Distance: "mi", Volume: "qt"})
	for id, want := range map[string]unit.System{
		"maud": {Distance: "km", Volume: "qt", Pressure: "bar"},
		"orla": {Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"},
		"sam":  {Distance: "mi", Volume: "qt"},
	} {
		if got := there.Person(id).Units(); got != want {
			t.Errorf("%s reads in %+v, want %+v", id, got, want)
		}
	}
	if got := d.Person("sam").Units(); got != (unit.System{}) {
		t.Errorf("of the file alone sam reads in %+v", got)
	}
}
