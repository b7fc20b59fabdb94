package chapters

import "testing"

func TestWrote(t *testing.T) {
	for _, c := range []struct {
		name, title string
		want        bool
	}{
		{"brake inspection", "Inspect brakes, steering and tyres", true},
		{"brake inspection", "Look at the tyres of our trailers", false}, // a fleet's own words
		{"copper over baseline", "", true},
		{"copper over baseline", "copper over baseline", true},
		{"resample", "Take another sample of the transmission fluid", true}, // of a follow-up
		{"tyre swap", "", false},
	} {
		if got := Wrote(c.name, c.title); got != c.want {
			t.Errorf("%q, %q: %v", c.name, c.title, got)
		}
	}
}
