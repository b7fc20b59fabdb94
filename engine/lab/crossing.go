package lab

import (
	"math"

	"telltale/engine/trend"
)

// Crossing is how much further a fluid runs until a measure reaches its limit, in
// metres (or seconds): the likely run, and the range from the 95 % interval of the
// slope. High is infinite where the measure may as well not rise at all.
type Crossing struct{ Low, Likely, High float64 }

// CrossingOf forecasts it from the measures of at least three samples against the
// fluid's age at each, the last being now. Ages that are mixed over partial
// exchanges serve: an exchange thins what was made and makes the fluid younger by
// the same share. ok is false where the measure does not rise, or has
// reached the limit.
func CrossingOf(ages, measures []float64, limit float64) (c Crossing, ok bool) {
	t, ok := trend.Of(ages, measures)
	if !ok || !(t.Slope > 0) {
		return Crossing{}, false
	}
	left := limit - measures[len(measures)-1]
	if !(left > 0) {
		return Crossing{}, false
	}
	c = Crossing{Low: left / t.High, Likely: left / t.Slope, High: math.Inf(1)}
	if t.Low > 0 {
		c.High = left / t.Low
	}
	return c, true
}
