package rules

import (
	"reflect"
	"testing"

	"telltale/rules/word"
)

const fleetBook = `book: 1
baselines:
  diesel engine oil of the fleet:
    where: component.kind == "diesel engine"
    from: fleet
    group by: [component.fluid, vehicle.kind, 'vehicle.tags["road"]']
    at least: {samples: 12, vehicles: 4}
    of the last: 24 months
    fresh: {P: 900}
    source: the drum's sheet
  gear oil of the fleet:
    where: component.kind == "final drive"
    from: fleet
rules:
  iron:
    on: sample
    measure: times("Fe")
    above: {advisory: 3}
  iron among its like:
    on: sample
    measure: percentile("Fe")
    above: {advisory: 99}
`

func TestFleetBaseline(t *testing.T) {
	b, err := Load([]File{{"a.yaml", []byte(fleetBook)}})
	if err != nil {
		t.Fatal(err)
	}
	var got []Fleet
	for _, bl := range b.Baselines {
		got = append(got, *bl.Fleet)
	}
	want := []Fleet{
		{GroupBy: []string{"component.fluid", "vehicle.kind", `vehicle.tags["road"]`}, Samples: 12, Vehicles: 4, Last: Limits{Months: 24}},
		{GroupBy: []string{"component.kind", "component.fluid", "vehicle.kind"}, Samples: 15, Vehicles: 3},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got %+v\nwant %+v", got, want)
	}
	v := &word.Vehicle{Name: "Bus 7", Kind: "bus", Tags: map[string]string{"road": "hills"}}
	c := &word.Component{Name: "engine", Kind: "diesel engine", Fluid: "15W-40"}
	if got, want := b.Baselines[0].Fleet.Group(v, c), []string{"15W-40", "bus", "hills"}; !reflect.DeepEqual(got, want) {
		t.Errorf("group %q, want %q", got, want)
	}
	all := Fleet{GroupBy: groupFields}
	if got, want := all.Group(v, c), []string{"diesel engine", "15W-40", "engine", "bus", "Bus 7"}; !reflect.DeepEqual(got, want) {
		t.Errorf("group %q, want %q", got, want)
	}
}

// Figures belong to the definition that they were made by, and to no other.
func TestFleetDefinitions(t *testing.T) {
	b, err := Load([]File{{"a.yaml", []byte(fleetBook)}})
	if err != nil {
		t.Fatal(err)
	}
	const want = `diesel engine oil of the fleet: component.kind == "diesel engine" | component.fluid, vehicle.kind, vehicle.tags["road"] | 12 4 | 24 months 0 days
gear oil of the fleet: component.kind == "final drive" | component.kind, component.fluid, vehicle.kind | 15 3 | 0 months 0 days`
	if got := b.FleetDefinitions(); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
	if got := b.AsksFleet(); got != want {
		t.Errorf("without work by a meter it asks %s", got)
	}
	plain := &Book{Baselines: []*Baseline{{Part: Part{Name: "a"}, Mean: map[string]float64{"Fe": 1}}}}
	if got := plain.FleetDefinitions(); got != "" {
		t.Errorf("a book of its own figures asks of the fleet: %s", got)
	}
	for _, fu := range []FollowUp{{At: Limits{Days: 3}}, {At: Limits{Hours: 3600}}} {
		byMeter := fu.At.Hours > 0
		for _, b := range []*Book{
			{Tasks: []*Task{{FollowUps: []FollowUp{fu}}}}, {Rules: []*Rule{{FollowUps: []FollowUp{fu}}}}, {Tasks: []*Task{{Every: fu.At}}},
		} {
			if got := b.AsksFleet(); (got != "") != byMeter {
				t.Errorf("%+v asks of the fleet: %q", fu.At, got)
			}
		}
	}
}
