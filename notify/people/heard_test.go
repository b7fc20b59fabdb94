package people

import (
	"reflect"
	"testing"

	"telltale/rules"
)

// bus7 is a vehicle with one component.
var bus7 = Vehicle{ID: "bus-07", Name: "Bus 7", Kind: "minibus", Tags: map[string]string{"depot": "north"}, People: []string{"ines"},
	Components: []Component{{Name: "transmission", Kind: "automatic transmission", Fluid: "ATF"}}}

func TestUnheard(t *testing.T) {
	book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: []byte(`book: 1
units: {distance: km, volume: L}
tasks:
  inspection: {title: Inspection, every: {time: 12 months}, statutory: yes}
  fluid: {title: Fluid, where: component.kind == "automatic transmission", every: {distance: 45000 km}}
  other: {title: Other, where: vehicle.kind == "gritter", every: {time: 12 months}}
`)}})
	if err != nil {
		t.Fatal(err)
	}
	d, err := Parse("people.yaml", []byte(`people:
  ines: {mail: ines@larkfell.example, digest: "0 7 * * *"}
  tom: {mail: tom@larkfell.example}
tell:
  law: {who: [ines], where: statutory}
  list: {who: [ines], stages: [overdue], when: digest}
  no list: {who: [tom], when: digest}
`))
	if err != nil {
		t.Fatal(err)
	}
	gaps, deaf := Unheard(d, []Vehicle{bus7}, book)
	if want := []Gap{{"bus-07", "transmission", "fluid", "due"}}; !reflect.DeepEqual(gaps, want) {
		t.Errorf("got %+v, want %+v", gaps, want)
	}
	// A list that is never sent tells nothing.
	if want := []string{"tom"}; !reflect.DeepEqual(deaf, want) {
		t.Errorf("hears of nothing: %q, want %q", deaf, want)
	}
}
