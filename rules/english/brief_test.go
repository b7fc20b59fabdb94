package english_test

import (
	"testing"

	"telltale/rules/english"
)

// A long title is cut in a subject, but not to a word that would name other work.
func TestBrief(t *testing.T) {
	for title, want := range map[string]string{
		"Check lights, wipers, washers, horn, mirrors and seat belts":       "Check lights",
		"Sample, then drain and refill the transmission, with a new filter": "Sample, then drain and refill the transmission",
		"Wash the salt off the chassis, then grease":                        "Wash the salt off the chassis",
		"Inspect brakes, steering and tyres":                                "Inspect brakes, steering and tyres",
		"Inspection of everything that a licensed workshop looks at":        "Inspection of everything that a licensed workshop looks at",
	} {
		if got := english.Brief(title); got != want {
			t.Errorf("%q is in short %q, want %q", title, got, want)
		}
	}
}
