package lab

import (
	"math"
	"testing"

	"telltale/rules/unit"
)

// The rates are the flow rates of NIST/SEMATECH e-Handbook 6.3.2.2: usual are 45.8159
// to 55.8041 with a centre of 50.81; the next lies inside, over or under.
func TestUsual(t *testing.T) {
	var h History
	cu := 0.0
	h = append(h, sample(0, cu))
	for i, rate := range numbers(t, "nist_individuals.csv", 1) {
		cu += rate
		h = append(h, sample(float64(i+1), cu))
		cu /= 2
		h = append(h, exchange(float64(i+1), 0.5))
	}
	at := func(rate float64) Usual {
		u, why, ok := Sheet{History: append(h[:len(h):len(h)], sample(11, cu+rate))}.Usual("Cu")
		if !ok {
			t.Fatal(why)
		}
		return u
	}
	u := at(60)
	near(t, "centre", u.Centre, 50.81, 5e-5)
	near(t, "upper", u.Upper, 55.8041, 5e-5)
	near(t, "lower", u.Lower, 45.8159, 5e-5)
	near(t, "latest", u.Latest, 60, 1e-9)
	if u.Rates != 10 || u.Per != unit.Distance {
		t.Errorf("of %d rates by %v", u.Rates, u.Per)
	}
	for rate, want := range map[float64]int{120: 1, 60: 0, 51: 0, 1: -1} {
		if got := at(rate).Outside; got != want {
			t.Errorf("%v lies %d outside, want %d", rate, got, want) // 60 is within the two laboratories' method
		}
	}
	if _, why, ok := (Sheet{History: h[:8]}).Usual("Cu"); ok || why != "four earlier samples with a rate of Cu" {
		t.Errorf("of three: %q, %v", why, ok)
	}
	// Of seven (six earlier, their mean 49.5667 and standard deviation 1.5983) the limit of
	// the next one: t of 5 degrees at 0.995 is 4.0321 (any table of the distribution).
	few, why, ok := Sheet{History: h[:14]}.Usual("Cu")
	if !ok {
		t.Fatal(why)
	}
	const sd = 1.59833
	near(t, "upper of six", few.Upper, few.Centre+4.0321*sd*math.Sqrt(1+1/6.0), 1e-3)
	near(t, "lower of six", few.Lower, 2*few.Centre-few.Upper, 1e-9)
	if _, why, ok := (Sheet{History: h[:1]}).Usual("Cu"); ok || why != "an earlier sample" {
		t.Errorf("of none: %q, %v", why, ok)
	}
}
