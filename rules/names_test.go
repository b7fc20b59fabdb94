package rules_test

import (
	"fmt"
	"slices"
	"testing"

	"telltale/rules"
	"telltale/rules/applies"
	"telltale/rules/word"
)

// TestOtherNames: a kind or a tag is the same by whichever name the register and the book
// call it; what is somebody's own, as a name, is not.
func TestOtherNames(t *testing.T) {
	vehicle := &word.Vehicle{Name: "petrol", Kind: "truck", Tags: map[string]string{"fuel": "gasoline"}}
	comps := []word.Component{{Name: "petrol engine", Kind: "gasoline engine"}}
	for where, want := range map[string]bool{
		`component.kind == "petrol engine"`:                        true,
		`"petrol engine" == component.kind`:                        true,
		`component.kind == "gasoline engine"`:                      true,
		`component.kind != "petrol engine"`:                        false,
		`component.kind in ["diesel engine", "petrol engine"]`:     true,
		`component.kind in ["diesel engine"]`:                      false,
		`let k = component.kind; k == "petrol engine"`:             true,
		`vehicle.tags["fuel"] == "petrol" && component.kind != ""`: true,
		`vehicle.kind == "lorry" && component.kind != ""`:          true,
		`vehicle.name == "gasoline" && component.kind != ""`:       false,
		`component.name == "gasoline engine"`:                      false,
		`component.kind startsWith "petrol"`:                       false,
	} {
		book, err := rules.Load([]rules.File{{Name: "a.yaml", Text: fmt.Appendf(nil, "book: 1\ntasks:\n  oil: {where: '%s', every: {time: 1 months}}\n", where)}})
		if err != nil {
			t.Fatal(err)
		}
		if got := len(applies.NewFinder(book).To(vehicle, comps).Tasks) > 0; got != want {
			t.Errorf("%s: it applies: %v, want %v", where, got, want)
		}
	}
}

// TestOneGroupByEitherName: engines that are called by either name are one group.
func TestOneGroupByEitherName(t *testing.T) {
	f := rules.Fleet{GroupBy: []string{"component.kind", `vehicle.tags["fuel"]`, "vehicle.name"}}
	british := f.Group(&word.Vehicle{Name: "truck", Tags: map[string]string{"fuel": "petrol"}}, &word.Component{Kind: "petrol engine"})
	american := f.Group(&word.Vehicle{Name: "truck", Tags: map[string]string{"fuel": "gasoline"}}, &word.Component{Kind: "gasoline engine"})
	if want := []string{"petrol engine", "petrol", "truck"}; !slices.Equal(british, want) || !slices.Equal(american, want) {
		t.Errorf("the groups are %q and %q, want %q", british, american, want)
	}
}
