package people

import (
	"testing"

	"telltale/rules/english"
)

func TestSpelling(t *testing.T) {
	d, err := Parse("people.yaml", []byte(`people: {a: {}, b: {spelling: en-US}, c: {spelling: en-US, dates: year first}, d: {spelling: en-GB}}`))
	if err != nil {
		t.Fatal(err)
	}
	for id, want := range map[string]struct {
		s english.Spelling
		o DateOrder
	}{"a": {english.British, DayFirst}, "b": {english.American, MonthFirst}, "c": {english.American, YearFirst}, "d": {english.British, DayFirst}} {
		if p := d.Person(id); p.Spelling != want.s || p.Dates != want.o {
			t.Errorf("%s: %v, %v", id, p.Spelling, p.Dates)
		}
	}
}
