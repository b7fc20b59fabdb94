package expression

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/english"
)

// TestMissingStandsForAll: where an expression is answered though something is missing, it
// gives the same for whatever that could be.
func TestMissingStandsForAll(t *testing.T) {
	answered := 0
	rapid.Check(t, func(t *rapid.T) {
		text := genTruth(t, rapid.IntRange(1, 4).Draw(t, "depth"))
		c, err := compiled(text, Truth)
		if err != nil {
			t.Fatalf("%s\n%v", text, err)
		}
		run := NewRunner(english.Reader{})
		truth := func(f sheet) (v bool, missing []string) {
			missing = run.EachEnd(f, c.asks, func() { v = run.Truth(c) })
			return v, missing
		}
		f := sheet{`value("Fe")`: math.Abs(dyadic.Draw(t, "iron"))}
		want, missing := truth(f)
		if missing != nil {
			return
		}
		answered++
		for range 8 {
			f[`value("Cu")`] = math.Abs(dyadic.Draw(t, "copper"))
			f[`change("K")`] = dyadic.Draw(t, "change")
			f[`times("Fe")`] = math.Abs(dyadic.Draw(t, "times"))
			if got, missing := truth(f); missing != nil || got != want {
				t.Fatalf("%s: %v without, %v (missing %v) with %v", text, want, got, missing, f)
			}
		}
	})
	if answered == 0 {
		t.Error("nothing was answered")
	}
}
