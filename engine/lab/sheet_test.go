package lab

import (
	"fmt"
	"math"
	"testing"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

var nan = math.NaN()

// sample is drawn at a distance in metres, holds copper; no hours, no stated age.
func sample(distance, cu float64) Step {
	return Step{Distance: distance, Hours: nan, Age: nan, AgeHours: nan, Results: []Result{{Analyte: "Cu", Value: cu}}}
}

func aged(s Step, age float64) Step { s.Age = age; return s }

func timed(s Step, hours float64) Step { s.Hours = hours; return s }

func with(s Step, r ...Result) Step { s.Results = append(s.Results, r...); return s }

func exchange(distance, share float64) Step {
	return Step{Exchange: true, Distance: distance, Hours: nan, Share: share}
}

// ask renders every word about one analyte, so that whole answers are compared.
func ask(s Sheet, word, analyte string) string {
	var v float64
	var why string
	var ok bool
	per := unit.None
	switch word {
	case "value":
		v, why, ok = s.Value(analyte)
	case "change":
		v, why, ok = s.Change(analyte)
	case "rate":
		v, per, why, ok = s.Rate(analyte)
	case "carried":
		v, why, ok = s.Carried(analyte)
	case "made":
		v, why, ok = s.Made(analyte)
	case "expected":
		v, why, ok = s.Expected(analyte)
	case "kept":
		v, why, ok = s.Kept(analyte)
	case "fresh":
		v, why, ok = s.FreshValue(analyte)
	case "times":
		v, why, ok = s.Times(analyte, 40)
	case "timesForAge":
		v, why, ok = s.TimesForAge(analyte, 40, 60_000, unit.Distance)
	case "timesForHours":
		v, why, ok = s.TimesForAge(analyte, 40, 60_000, unit.Time)
	case "age":
		v, per, why, ok = s.Age()
	case "ageByHours":
		v, why, ok = s.AgeBy(unit.Time)
	case "rateByHours":
		v, why, ok = s.RateBy(analyte, unit.Time)
	case "mixedAge":
		v, why, ok = s.MixedAge(unit.Distance)
	default:
		panic(word)
	}
	if !ok {
		return "missing: " + why
	}
	if per != unit.None {
		return fmt.Sprintf("%.6g by %s", v, per)
	}
	return fmt.Sprintf("%.6g", v)
}

func TestWords(t *testing.T) {
	fresh := map[string]float64{"P": 290, "Na": 0}
	one := History{sample(1000, 131)}
	two := History{sample(1000, 100), sample(11_000, 131)}
	// 100 at the drain, half renewed: 50 carried; 60 after 10 km more.
	half := History{sample(0, 80), sample(20_000, 100), exchange(20_000, 0.5), sample(30_000, 60)}
	twice := History{sample(0, 80), sample(20_000, 100), exchange(20_000, 0.5), exchange(21_000, 0.5), sample(31_000, 60)}
	older := append(half[:4:4], sample(40_000, 75))
	hours := History{timed(sample(nan, 10), 0), timed(sample(nan, 30), 1000)}
	tests := []struct {
		name          string
		h             History
		word, analyte string
		want          string
	}{
		{"one sample", one, "value", "Cu", "131"},
		{"not reported", one, "value", "Pb", "missing: lead (Pb) in the sample"},
		{"nothing at all", nil, "value", "Cu", "missing: a sample"},
		{"first sample", one, "change", "Cu", "missing: an earlier sample"},
		{"two samples", two, "change", "Cu", "31"},
		{"not reported before", History{sample(0, 1), with(sample(1, 2), Result{Analyte: "Pb", Value: 3})},
			"change", "Pb", "missing: lead (Pb) in the earlier sample"},
		{"change over an exchange is the plain change", half, "change", "Cu", "-40"},

		{"rate", two, "rate", "Cu", "0.0031 by a distance"},
		{"rate by hours", hours, "rate", "Cu", "0.02 by hours"},
		{"rate after an exchange is of what was made", half, "rate", "Cu", "0.001 by a distance"},
		{"rate by distance where both are known", History{timed(sample(0, 10), 0), timed(sample(1000, 30), 10)},
			"rate", "Cu", "0.02 by a distance"},
		{"rate of one", one, "rate", "Cu", "missing: an earlier sample"},
		{"no run", History{sample(5, 1), sample(5, 2)}, "rate", "Cu", "missing: a run since the earlier sample"},
		{"run unknown", History{sample(nan, 1), sample(5, 2)}, "rate", "Cu", "missing: a run since the earlier sample"},
		{"run since the exchange unknown", History{sample(0, 80), exchange(nan, 0.5), sample(30_000, 60)},
			"rate", "Cu", "missing: a run since the exchange"},
		{"a tenth topped up late: 1 per km over 1 km and 0.9 of 9 km", History{sample(0, 100), exchange(9000, 0.1), sample(10_000, 99.1)},
			"rate", "Cu", "0.001 by a distance"},
		{"exchange but no sample before", History{exchange(0, 0.5), sample(5, 2)}, "rate", "Cu", "missing: an earlier sample"},
		{"rate where the exchange is older than the last sample", older, "rate", "Cu", "0.0015 by a distance"},

		{"carried", half, "carried", "Cu", "50"},
		{"carried over two exchanges", twice, "carried", "Cu", "25"},
		{"carried with an older exchange", older, "carried", "Cu", "50"},
		{"no exchange", two, "carried", "Cu", "missing: an exchange before the sample"},
		{"no sample before the exchange", History{exchange(0, 0.5), sample(5, 2)}, "carried", "Cu", "missing: an earlier sample"},
		{"share unknown", History{sample(0, 5), exchange(0, nan), sample(5, 2)},
			"carried", "Cu", "missing: a known share of the exchange"},
		{"a whole exchange after one of unknown share", History{sample(0, 5), exchange(0, nan), exchange(1, 1), sample(5, 2)},
			"carried", "Cu", "0"},
		{"fresh content comes in with the exchange",
			History{with(sample(0, 1), Result{Analyte: "P", Value: 190}), exchange(0, 0.5), sample(5, 2)}, "carried", "P", "240"},
		{"fresh content unknown",
			History{with(sample(0, 1), Result{Analyte: "K", Value: 190}), exchange(0, 0.5), sample(5, 2)},
			"carried", "K", "missing: fresh K"},
		{"not in the sample before the exchange", History{with(sample(0, 1), Result{Analyte: "Pb", Value: 1}), sample(1, 1), exchange(2, 0.5),
			with(sample(3, 1), Result{Analyte: "Pb", Value: 1})}, "carried", "Pb", "missing: lead (Pb) in the earlier sample"},

		{"made", half, "made", "Cu", "10"},
		{"made since an older exchange", older, "made", "Cu", "25"},
		{"made without an exchange", two, "made", "Cu", "missing: an exchange before the sample"},

		{"expected: 50 + 1 per km × 10 km", half, "expected", "Cu", "60"},
		{"expected: 25 + 1 per km × 10 km, and half of 1 km before the second exchange", twice, "expected", "Cu", "35.5"},
		{"expected with an older exchange: 50 + 1 per km × 20 km", older, "expected", "Cu", "70"},
		{"expected without a rate before", half[1:], "expected", "Cu", "missing: a rate at the earlier sample: an earlier sample"},
		{"expected without an exchange", two, "expected", "Cu", "missing: an exchange before the sample"},
		{"expected without a run", History{sample(0, 80), sample(20_000, 100), exchange(nan, 0.5), sample(30_000, 60)},
			"expected", "Cu", "missing: a run since the exchange"},

		{"kept", History{with(sample(0, 1), Result{Analyte: "P", Value: 145})}, "kept", "P", "0.5"},
		{"kept of a wear metal", one, "kept", "Cu", "missing: fresh Cu above 0"},
		{"kept of nothing", History{with(sample(0, 1), Result{Analyte: "Na", Value: 3})}, "kept", "Na", "missing: fresh Na above 0"},
		{"fresh wear metal", one, "fresh", "Cu", "0"},
		{"fresh potassium", one, "fresh", "K", "missing: fresh K"},

		{"times", one, "times", "Cu", "3.275"},
		{"times for age", History{aged(sample(0, 131), 120_000)}, "timesForAge", "Cu", "1.6375"},
		{"times for a fifth of the age", History{aged(sample(0, 40), 12_000)}, "timesForAge", "Cu", "5"},
		{"times for less than a fifth", History{aged(sample(0, 40), 11_999)}, "timesForAge", "Cu",
			"missing: a fluid age of a fifth of the baseline's or more"},
		{"times for no age", one, "timesForAge", "Cu", "missing: the fluid's age"},
		{"times for an age of another kind", History{aged(sample(0, 131), 120_000)}, "timesForHours", "Cu",
			"missing: the fluid's age in hours"},
		{"times for the mixed age: 60 half renewed and 10 more", History{aged(sample(0, 100), 60_000), exchange(0, 0.5), aged(sample(10_000, 40), 10_000)},
			"timesForAge", "Cu", "1.5"},
		{"the label's age", History{aged(sample(0, 100), 60_000), exchange(0, 0.5), aged(sample(10_000, 40), 10_000)},
			"age", "Cu", "10000 by a distance"},
		{"tracked where nothing is stated", History{exchange(0, 1), sample(10_000, 40)}, "age", "Cu", "10000 by a distance"},
		{"stated in hours goes before tracked in metres", History{exchange(0, 1), {Distance: 5, Hours: nan, Age: nan, AgeHours: 7}},
			"age", "Cu", "7 by hours"},
		{"tracked by hours", History{timed(exchange(nan, 1), 100), timed(sample(nan, 40), 150)}, "age", "Cu", "50 by hours"},
		{"asked by hours", History{timed(exchange(0, 1), 100), timed(aged(sample(9, 40), 9), 150)}, "ageByHours", "Cu", "50"},
		{"no age by hours", History{aged(sample(9, 40), 9)}, "ageByHours", "Cu", "missing: the fluid's age in hours"},
		{"no age as a distance", History{{Distance: 5, Hours: nan, Age: nan, AgeHours: 7}}, "mixedAge", "Cu", "missing: the fluid's age as a distance"},
		{"no age at all", one, "age", "Cu", "missing: the fluid's age"},
		{"rate by hours of one with both meters", History{timed(sample(0, 10), 0), timed(sample(1000, 30), 10)}, "rateByHours", "Cu", "2"},
	}
	for _, tt := range tests {
		t.Run(tt.name+": "+tt.word, func(t *testing.T) {
			s := Sheet{History: tt.h, Fresh: fresh}
			if got := ask(s, tt.word, tt.analyte); got != tt.want {
				t.Errorf("%s(%q) = %s, want %s", tt.word, tt.analyte, got, tt.want)
			}
		})
	}
}

// The published residual-oil example: 80 ppm at 250 h, 15 % left in the sump,
// sampled 10 h after the change with no new wear. Machinery Lubrication 766,
// "Factoring Residual Oil Into Wear Rate": start 12 ppm, naive 1.2 ppm/h,
// corrected rate 0.
func TestResidualOil(t *testing.T) {
	h := History{
		timed(sample(nan, 0), 0), timed(sample(nan, 80), 250*3600),
		timed(exchange(nan, 0.85), 250*3600), timed(sample(nan, 12), 260*3600),
	}
	s := Sheet{History: h}
	carried, _, _ := s.Carried("Cu")
	near(t, "carried", carried, 12, 1e-12)
	rate, per, why, ok := s.Rate("Cu")
	if !ok || per != unit.Time {
		t.Fatalf("rate: per %v, %q, %v", per, why, ok)
	}
	near(t, "corrected rate", rate, 0, 1e-15)
	before, _, _, _ := Sheet{History: h[:2]}.Rate("Cu")
	near(t, "rate before, ppm/h", before*3600, 0.32, 1e-12)
	expected, _, _ := s.Expected("Cu")
	near(t, "expected after 10 h", expected, 12+3.2, 1e-9)
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %v, want %v ± %v", what, got, want, tol)
	}
}

func TestEnds(t *testing.T) {
	h := History{
		{Results: []Result{{Analyte: "Pb", Value: 5, Censored: true}}},
		{Exchange: true, Share: 0.5},
		{Results: []Result{{Analyte: "Pb", Value: 3, Censored: true}, {Analyte: "Cu", Value: 7}}},
	}
	var asked []string
	upper := func(i int, r Result) float64 {
		asked = append(asked, fmt.Sprintf("%d %s<%v", i, r.Analyte, r.Value))
		return r.Value
	}
	lower := func(int, Result) float64 { return 0 }
	if v, _, _ := (Sheet{History: h, Ends: lower}).Made("Pb"); v != 0 {
		t.Errorf("made at the lower ends = %v, want 0", v)
	}
	s := Sheet{History: h, Ends: upper}
	s.Value("Cu")
	if v, _, _ := s.Made("Pb"); v != 0.5 {
		t.Errorf("made at the upper ends = %v, want 0.5", v)
	}
	if got, want := fmt.Sprint(asked), "[2 Pb<3 0 Pb<5]"; got != want {
		t.Errorf("asked for %s, want %s", got, want)
	}
	if r, ok := s.Result("Pb"); !ok || r != (Result{Analyte: "Pb", Value: 3, Censored: true}) {
		t.Errorf("Result = %v, %v", r, ok)
	}
}

func TestFreshNote(t *testing.T) {
	s := Sheet{Fresh: map[string]float64{"Fe": 0}}
	for analyte, want := range map[string]string{
		"Cu": "fresh Cu taken as 0, a wear metal that the fresh fluid's values do not name",
		"Fe": "", "K": "",
	} {
		if got := s.FreshNote(analyte); got != want {
			t.Errorf("FreshNote(%q) = %q, want %q", analyte, got, want)
		}
	}
}

func BenchmarkWords(b *testing.B) {
	var h History
	names := analytes.Names()[:24]
	for i := range 20 {
		s := Step{Distance: float64(i) * 1e7, Hours: nan, Age: nan, AgeHours: nan}
		for _, a := range names {
			s.Results = append(s.Results, Result{Analyte: a, Value: float64(i)})
		}
		h = append(h, s)
		if i%4 == 1 {
			h = append(h, exchange(float64(i)*1e7, 0.5))
		}
	}
	fresh := map[string]float64{}
	for _, a := range names {
		fresh[a] = 1
	}
	s := Sheet{History: h, Fresh: fresh}
	b.ReportAllocs()
	for b.Loop() {
		for _, a := range names {
			s.Times(a, 10)
			s.TimesForAge(a, 10, 6e7, unit.Distance)
			s.Rate(a)
			s.Expected(a)
		}
	}
}

// A result that is not a number is an interval, and stands for both its ends.
func TestSpan(t *testing.T) {
	for _, c := range []struct {
		r    Result
		want Span
	}{
		{Result{Analyte: "Cu", Value: 7}, Span{7, 7}},
		{Result{Analyte: "Cu", Value: 7, Censored: true}, Span{0, 7}},
		{Result{Analyte: "Cu", Value: 1000, Above: true}, Span{1000, 1_000_000}},
		{Result{Analyte: "water", Value: 5, Above: true}, Span{5, 100}},
		{Result{Analyte: "KV100", Value: 500, Above: true}, Span{500, 1e9}},
	} {
		if got := c.r.Span(); got != c.want {
			t.Errorf("%+v spans %v, not %v", c.r, got, c.want)
		}
	}
	s := Sheet{History: History{{Results: []Result{{Analyte: "Fe", Value: 1000, Above: true}}}},
		Ends: func(_ int, r Result) float64 { return r.Span().High }}
	if v, _, ok := s.Times("Fe", 100); !ok || v != 10_000 {
		t.Errorf("above 1000 is up to %v times a mean of 100", v)
	}
}

// Ends is not asked about what does not count, since something else is missing.
func TestEndsOnlyOfWhatCounts(t *testing.T) {
	lead := Result{Analyte: "Pb", Value: 1, Censored: true}
	thick := Result{Analyte: "KV100", Value: 2, Censored: true}
	s := Sheet{
		History: History{with(sample(0, 1), lead), exchange(100, 0.5), with(sample(200, 1), thick)},
		Ends: func(i int, r Result) float64 {
			t.Errorf("asked about %s at step %d", r.Analyte, i)
			return r.Value
		},
	}
	s.Change("Pb")
	s.ChangeIsReal("Pb")
	s.Made("Pb")
	s.MadeIsReal("Pb")
	s.ViscosityIndex()
}
