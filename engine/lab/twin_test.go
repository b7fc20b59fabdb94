package lab

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// sump is a slow twin of the Sheet: it walks the history forward once, as things
// happened, and keeps what a mechanic would note down.
type sump struct {
	last, left float64 // copper in the last sample; what the latest exchange left
	lastAt     float64
	held, now  float64 // the run since the sample before the exchange, thinned by each; the meter then
	rate       float64 // as it stood at the last sample
	sampled    bool
	changed    bool // an exchange with a sample before it
	since      bool // an exchange since the last sample
	rateKnown  bool
}

func (s *sump) exchange(at, f, fresh float64) {
	if !s.sampled {
		return
	}
	if !s.since {
		s.left, s.held, s.now = s.last, 0, s.lastAt
	}
	s.left = (1-f)*s.left + f*fresh
	s.held, s.now = (1-f)*(s.held+at-s.now), at
	s.changed, s.since = true, true
}

// sample notes one and tells what was carried, made, expected and the rate; NaN for
// what cannot be told.
func (s *sump) sample(at, cu float64) (carried, made, expected, rate float64) {
	carried, made, expected, rate = nan, nan, nan, nan
	s.held, s.now = s.held+at-s.now, at
	if s.changed {
		carried, made = s.left, cu-s.left
		if s.rateKnown {
			expected = s.left + s.rate*s.held
		}
	}
	switch {
	case s.since && s.held > 0:
		rate = made / s.held
	case !s.since && s.sampled && at > s.lastAt:
		rate = (cu - s.last) / (at - s.lastAt)
	}
	s.last, s.lastAt, s.sampled, s.since = cu, at, true, false
	s.rate, s.rateKnown = rate, !math.IsNaN(rate)
	return carried, made, expected, rate
}

func TestSheetAgainstTwin(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fresh := float64(rapid.IntRange(0, 9).Draw(t, "fresh"))
		var h History
		var twin sump
		at := 0.0
		for range rapid.IntRange(1, 12).Draw(t, "steps") {
			at += float64(rapid.IntRange(0, 3).Draw(t, "run")) * 1000
			if rapid.Bool().Draw(t, "exchange") {
				f := float64(rapid.IntRange(0, 10).Draw(t, "f")) / 10
				h = append(h, exchange(at, f))
				twin.exchange(at, f, fresh)
				continue
			}
			cu := float64(rapid.IntRange(0, 200).Draw(t, "cu"))
			h = append(h, sample(at, cu))
			carried, made, expected, rate := twin.sample(at, cu)
			s := Sheet{History: h, Fresh: map[string]float64{"Cu": fresh}}
			for word, want := range map[string]float64{"carried": carried, "made": made, "expected": expected, "rate": rate} {
				if got := number(s, word); fmt.Sprintf("%.9g", got) != fmt.Sprintf("%.9g", want) && !(math.Abs(got-want) < 1e-9) {
					t.Fatalf("%s of %v = %v, want %v", word, h, got, want)
				}
			}
		}
	})
}

// number asks the sheet, NaN for an answer that is missing.
func number(s Sheet, word string) float64 {
	var v float64
	var ok bool
	switch word {
	case "carried":
		v, _, ok = s.Carried("Cu")
	case "made":
		v, _, ok = s.Made("Cu")
	case "expected":
		v, _, ok = s.Expected("Cu")
	case "rate":
		v, _, _, ok = s.Rate("Cu")
	}
	if !ok {
		return nan
	}
	return v
}
