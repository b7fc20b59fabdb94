package zone

import (
	"maps"
	"slices"
	"testing"
	"time"
)

// TestSpoken: every name leads to a zone that there is, and IANA names are left alone.
func TestSpoken(t *testing.T) {
	for _, name := range slices.Sorted(maps.Keys(spoken)) {
		if _, err := time.LoadLocation(Spoken(name)); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, want := range map[string]string{"Central Time": "America/Chicago", " eastern standard time ": "America/New_York", "Europe/London": "", "UTC": "", "": ""} {
		if got := Spoken(name); got != want {
			t.Errorf("%q is %q, want %q", name, got, want)
		}
	}
	if got := Hint("Pacific"); got != "write America/Los_Angeles" {
		t.Error(got)
	}
}
