package lab

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"

	"telltale/rules/unit"
)

// How often a rate that is nothing out of the ordinary lies over the limits of the n
// before it, by chance: of 4 to 20 earlier rates about as often, whether rates spread
// evenly or, as wear does, by a factor. Limits are meant for 0.5 %. Of evenly spread rates
// the logarithms have the upper limit a little high: the rarer alarm is the price of not
// having ten times as many where they spread by a factor.
func TestUsualFalseAlarms(t *testing.T) {
	t.Parallel()
	for _, d := range []struct {
		name        string
		least, most float64 // per cent
		rate        func(*rand.Rand) float64
	}{
		{"normal, 15 %", 0.05, 0.5, func(r *rand.Rand) float64 { return 1 + 0.15*r.NormFloat64() }},
		{"lognormal, by 1.8", 0.3, 0.8, func(r *rand.Rand) float64 { return math.Exp(0.6 * r.NormFloat64()) }},
	} {
		for n := leastUsual; n <= 20; n++ {
			const times = 8_000
			chance, over := rand.New(rand.NewPCG(14, uint64(n))), 0
			earlier := make([]float64, n)
			for range times {
				for i := range earlier {
					earlier[i] = d.rate(chance)
				}
				if d.rate(chance) > bandOf(earlier).Upper {
					over++
				}
			}
			share := 100 * float64(over) / times
			t.Logf("%s, %d earlier rates: %.2f %%", d.name, n, share)
			if share < d.least || share > d.most {
				t.Errorf("%s, %d earlier rates: %.2f %% of what is usual raises an alarm, want %v to %v", d.name, n, share, d.least, d.most)
			}
		}
	}
}

// The limits of 20 rates are a prediction's, those of 21 a chart's, both of the
// logarithms; of rates that are not all positive, of the rates themselves.
func TestBand(t *testing.T) {
	var rates, same []float64
	for i := range 21 {
		rates = append(rates, math.Exp(math.Sin(float64(i))))
	}
	same = logs(rates)
	mean, sd := stat.MeanStdDev(same[:20], nil)
	c := bandOf(rates[:20])
	// t of 19 degrees at 0.995 is 2.8609 (any table of the distribution).
	near(t, "centre of 20", c.Centre, math.Exp(mean), 1e-12)
	near(t, "upper of 20", math.Log(c.Upper), mean+2.8609*sd*math.Sqrt(1+1/20.0), 1e-4)
	near(t, "lower of 20", math.Log(c.Lower), mean-2.8609*sd*math.Sqrt(1+1/20.0), 1e-4)
	c = bandOf(rates)
	chart, _ := Chart(same)
	near(t, "upper of 21", c.Upper, math.Exp(chart.Upper), 1e-12)
	near(t, "lower of 21", c.Lower, math.Exp(chart.Lower), 1e-12)
	rates[3] = 0
	c = bandOf(rates)
	chart, _ = Chart(rates)
	near(t, "upper with a zero", c.Upper, chart.Upper, 0)
	c = bandOf(rates[:10])
	near(t, "upper of ten with a zero", c.Upper, predictionLimit(rates[:10], 1, sureUsual), 0)
	near(t, "lower of ten with a zero", c.Lower, 2*stat.Mean(rates[:10], nil)-c.Upper, 1e-12)
}

// The rates are the flow rates of NIST/SEMATECH e-Handbook 6.3.2.2, by whose logarithms
// (their mean 3.92736, standard deviation 0.040381) usual are 44.24 to 58.26; t of 9
// degrees at 0.995 is 3.2498 (any table). The next lies inside, over or under.
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
	mean, sd := stat.MeanStdDev(logs(numbers(t, "nist_individuals.csv", 1)), nil)
	near(t, "centre", u.Centre, math.Exp(mean), 1e-9)
	near(t, "upper", u.Upper, math.Exp(mean+3.2498*sd*math.Sqrt(1.1)), 1e-3)
	near(t, "lower", u.Lower, math.Exp(mean-3.2498*sd*math.Sqrt(1.1)), 1e-3)
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
	if _, why, ok := (Sheet{History: h[:1]}).Usual("Cu"); ok || why != "an earlier sample" {
		t.Errorf("of none: %q, %v", why, ok)
	}
}
