package origin

import (
	"encoding/json"
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"telltale/rules/analytes"
)

// The shares are of elements that are known, in their range, and no more than the whole;
// where they are from stands beside each.
func TestProfiles(t *testing.T) {
	for _, p := range Profiles() {
		least := 0.0
		seen := map[string]bool{}
		for _, s := range p.Shares {
			least += s.Least
			if !analytes.Known(s.Analyte) || seen[s.Analyte] || !(s.Least >= 0 && s.Least <= s.Most && s.Most > 0 && s.Most <= 100) || s.Source == "" {
				t.Errorf("%s: %+v", p.Name, s)
			}
			seen[s.Analyte] = true
		}
		if least > 100 || p.Family == "" || strings.TrimSpace(p.Name) != p.Name {
			t.Errorf("%+v is of %v %%", p, least)
		}
	}
}

// What publications say in another form than the table.
func TestPublishedShares(t *testing.T) {
	share := func(profile, analyte string) *Share { return named(profile).of(analyte) }
	ratio := func(profile, a, b string) [2]float64 {
		x, y := share(profile, a), share(profile, b)
		return [2]float64{x.Least / y.Most, x.Most / y.Least}
	}
	for _, tt := range []struct {
		what      string
		got, want [2]float64
		within    float64
	}{
		{"Al over Si of SAE J726 dust, from SiO2 65 to 76 and Al2O3 11 to 17 %", ratio("quartz dust", "Al", "Si"), [2]float64{0.164, 0.296}, 0.002},
		{"Al over Si of JIS Z 8901 loams", ratio("volcanic dust", "Al", "Si"), [2]float64{0.74, 1.07}, 0.01},
		{"sodium in NaCl: 22.990 of 58.440 (IUPAC)", [2]float64{share("salt", "Na").mean(), 0}, [2]float64{0.3934, 0}, 0.002},
		{"silicon in (C2H6SiO)n: 28.085 of 74.154 (IUPAC)", [2]float64{share("silicone", "Si").Most / 100, 0}, [2]float64{0.3787, 0}, 0.0005},
		{"UNS C93200 copper as quoted", [2]float64{share("leaded bronze", "Cu").Least, share("leaded bronze", "Cu").Most}, [2]float64{81, 85}, 0},
	} {
		for i := range 2 {
			if math.Abs(tt.got[i]-tt.want[i]) > tt.within {
				t.Errorf("%s: %v, want %v", tt.what, tt.got, tt.want)
			}
		}
	}
	// Feldspar, from memory: potassium is 7 to 9 % of the silicon.
	if k := share("quartz dust", "K").mean() / share("quartz dust", "Si").mean(); k < 0.07 || k > 0.09 {
		t.Errorf("potassium is %v of the silicon", k)
	}
}

// 11 sources have 231 subsets of at most three: 11 + 55 + 165.
func TestSubsets(t *testing.T) {
	for n, want := range map[int]int{0: 0, 1: 1, 2: 3, 11: 231} {
		seen := map[[most]int]bool{}
		subsets(n, func(of []int) {
			var key [most]int
			for i, s := range of {
				key[i] = s + 1
			}
			seen[key] = true
		})
		if len(seen) != want {
			t.Errorf("%d sources have %d subsets, want %d", n, len(seen), want)
		}
	}
}

// recoverable draws a mixture of which each source makes enough to be really there, and no
// two have nearly one shape.
var recoverable = rapid.Custom(func(t *rapid.T) (m mixed) {
	of, amounts, excesses := mixture(t)
	m.amounts, m.s = amounts, prepared(profiles, measured(excesses))
	for i := range m.s.sources {
		if slices.Contains(of, m.s.sources[i].Name) {
			m.at = append(m.at, i)
		}
	}
	m.whole = len(m.at) == len(of)
	return m
}).Filter(func(m mixed) bool {
	if !m.whole {
		return false
	}
	_, why := m.s.fitted(m.at)
	return why != sameShape
})

// mixed is a mixture made ready to be read: at are its sources.
type mixed struct {
	s       *sheet
	at      []int
	amounts map[string]float64
	whole   bool
}

// mixture draws some profiles and how much of each, and what they make, exactly.
func mixture(t *rapid.T) (of []string, amounts map[string]float64, excesses []Excess) {
	names := make([]string, len(profiles))
	for i, p := range profiles {
		names[i] = p.Name
	}
	of = rapid.SliceOfNDistinct(rapid.SampledFrom(names), 1, most, rapid.ID).Draw(t, "sources")
	amounts = map[string]float64{}
	makes := map[string]float64{}
	for _, name := range of {
		p := named(name)
		chief := 0.0
		for i := range p.Shares {
			chief = math.Max(chief, p.Shares[i].mean())
		}
		amounts[name] = rapid.Float64Range(50, 500).Draw(t, name) / chief / 1000
		for i := range p.Shares {
			makes[p.Shares[i].Analyte] += 1000 * amounts[name] * p.Shares[i].mean()
		}
	}
	for _, a := range analytes.Names() {
		if makes[a] > 0 {
			excesses = append(excesses, Excess{Analyte: a, Value: makes[a], Error: rapid.Float64Range(0, 0.02).Draw(t, "error of "+a) * makes[a]})
		}
	}
	return of, amounts, excesses
}

// A mixture without noise is recovered exactly by the subset that it is of, unless its
// sources have nearly one shape, and then nothing is left over.
func TestExactRecovery(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := recoverable.Draw(t, "mixture")
		s, amounts := m.s, m.amounts
		f, why := s.fitted(m.at)
		if why != "" {
			t.Fatal(why)
		}
		for i, j := range f.of {
			src := &s.sources[j]
			if got, want := f.made[i]/src.chief.mean()/1000, amounts[src.Name]; math.Abs(got-want) > 1e-6*want {
				t.Errorf("%s: %v g/kg, want %v", src.Name, got, want)
			}
		}
		for j, left := range f.left {
			if math.Abs(left) > 1e-6*s.elements[j].Value {
				t.Errorf("%v of %v are left over", left, s.elements[j])
			}
		}
		if f.explained < 1-1e-9 {
			t.Errorf("R² %v", f.explained)
		}
	})
}

// One source alone, without noise, is told, and by itself or with its like.
func TestOneSource(t *testing.T) {
	for _, p := range profiles {
		var excesses []Excess
		for _, a := range analytes.Names() {
			e := Excess{Analyte: a}
			if s := p.of(a); s != nil {
				e.Value = 200 * s.mean() / p.Shares[0].mean()
			}
			e.Error = 1 + 0.02*e.Value
			excesses = append(excesses, e)
		}
		r := Of(excesses)
		if r == nil || len(r.Parts) != 1 || r.Explained < 0.99 || len(r.Beyond) > 0 {
			t.Errorf("%s: %s", p.Name, told(r))
			continue
		}
		if m := r.Parts[0].Mixes[0]; len(m) != 1 || m[0].Source != p.Name {
			t.Errorf("%s is told as %s", p.Name, told(r))
		}
	}
}

// With shares known exactly it is weighted least squares, as gonum has it by other ways:
// the line through the origin for one source, QR for two and three.
func TestAgainstWeightedLeastSquares(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 8))
	for range 300 {
		n, k := 4+r.IntN(8), 1+r.IntN(most)
		s := &sheet{penalty: 1}
		y, w := make([]float64, n), make([]float64, n)
		for j := range n {
			e := element{Excess: Excess{Value: 100 * r.Float64()}, sd: 0.5 + 5*r.Float64()}
			s.elements = append(s.elements, e)
			y[j], w[j] = e.Value, 1/(e.sd*e.sd)
		}
		x, of := mat.NewDense(n, k, nil), make([]int, k)
		for i := range k {
			src := source{ratio: make([]float64, n), sd: make([]float64, n)}
			for j := range n {
				src.ratio[j] = r.Float64()
				x.Set(j, i, src.ratio[j]*math.Sqrt(w[j]))
			}
			s.sources, of[i] = append(s.sources, src), i
		}
		f, why := s.fitted(of)
		if why != "" {
			t.Fatal(why)
		}
		var qr mat.QR
		qr.Factorize(x)
		want, right := mat.NewVecDense(k, nil), mat.NewVecDense(n, nil)
		for j := range n {
			right.SetVec(j, y[j]*math.Sqrt(w[j]))
		}
		if err := qr.SolveVecTo(want, false, right); err != nil {
			t.Fatal(err)
		}
		var normal, cov mat.Dense
		normal.Mul(x.T(), x)
		if err := cov.Inverse(&normal); err != nil {
			t.Fatal(err)
		}
		for i := range k {
			if math.Abs(f.made[i]-want.AtVec(i)) > 1e-7*(1+math.Abs(want.AtVec(i))) || math.Abs(f.sd[i]-math.Sqrt(cov.At(i, i))) > 1e-7*f.sd[i] {
				t.Errorf("%d of %d sources: %v ± %v, want %v ± %v", i, k, f.made[i], f.sd[i], want.AtVec(i), math.Sqrt(cov.At(i, i)))
			}
		}
		if k == 1 {
			_, slope := stat.LinearRegression(s.sources[0].ratio, y, w, true)
			if math.Abs(slope-f.made[0]) > 1e-9*math.Abs(slope) {
				t.Errorf("%v, want the slope %v", f.made[0], slope)
			}
		}
	}
}

// The effective variances are those of the amounts that are found with them. By hand: the
// chief gives 100 at a standard deviation of 3, the other 60 at 2, where half of the chief
// is expected, 0.1 more or less.
func TestEffectiveVariance(t *testing.T) {
	s := &sheet{elements: []element{{Excess{Value: 100}, 3}, {Excess{Value: 60}, 2}}, sources: []source{{ratio: []float64{1, 0.5}, sd: []float64{0, 0.1}}}}
	f, why := s.fitted([]int{0})
	if why != "" {
		t.Fatal(why)
	}
	m := f.made[0]
	v := 4 + 0.01*m*m // of the other
	want := (100/9.0 + 0.5*60/v) / (1/9.0 + 0.25/v)
	if math.Abs(m-want) > 1e-4 || math.Abs(f.variance[1]-v) > 1e-3 || math.Abs(f.sd[0]-1/math.Sqrt(1/9.0+0.25/v)) > 1e-4 {
		t.Errorf("%v ± %v by variances %v, want %v and %v", m, f.sd[0], f.variance, want, v)
	}
	// Solved by hand: m = 100.42, where v is 104.8.
	if math.Abs(m-100.42) > 0.01 {
		t.Errorf("%v, want 100.42", m)
	}
}

// Two sources of one shape cannot be solved as a pair: the reason says so, both are told
// for each other, and the rest is read.
func TestSameShape(t *testing.T) {
	profiles := []Profile{
		{"one", "first", []Share{{"Na", 40, 40, "x"}, {"K", 10, 10, "x"}}},
		{"two", "second", []Share{{"Na", 20, 20, "x"}, {"K", 5, 5, "x"}}},
		{"three", "third", []Share{{"Fe", 90, 100, "x"}}},
	}
	r := of(profiles, []Excess{{"Na", 80, 4, 0}, {"K", 20, 3, 0}, {"Fe", 190, 10, 0}})
	if got, want := r.Words(), "iron 190 mg/kg: three 0.20 ± 0.02 g/kg; sodium 80 mg/kg: one 0.200 ± 0.010 g/kg or two 0.40 ± 0.02 g/kg"; got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if want := []Unsolved{{[]string{"one", "two"}, sameShape}}; !reflect.DeepEqual(r.Unsolved, want) {
		t.Errorf("unsolved %v, want %v", r.Unsolved, want)
	}
}

// What people read.
func TestWords(t *testing.T) {
	const hold = "a hint where to look, not a finding; ± and ranges hold 95 times in 100 if there is no other source"
	const note = "this explains 99 % of what is more than usual\n" + hold
	for _, tt := range []struct {
		name     string
		excesses []Excess
		want     string
		notes    string
	}{
		{"dust, and iron beyond it", []Excess{{"Si", 65, 8, 0}, {"Al", 14, 5, 0}, {"Fe", 47, 9, 0}, {"K", 5, 4, 0}, {"Cr", 0.5, 1, 0.5}, {"Na", 4, 4, 0}},
			"silicon 65 mg/kg: quartz dust 0.20 ± 0.03 g/kg; iron beyond that 42 mg/kg: steel or iron 0.03 to 0.06 g/kg",
			note + "\nresults below their limit count as the middle of what they can be: chromium"},
		{"sodium alone", []Excess{{"Na", 80, 8, 0}, {"Si", 1, 5, 0}},
			"sodium 80 mg/kg: salt 0.20 ± 0.02 g/kg or coolant 5 to 40 g/kg",
			note},
		{"dust, and silver that nothing has", []Excess{{"Si", 65, 8, 0}, {"Al", 14, 5, 0}, {"Ag", 60, 5, 0}},
			"silicon 65 mg/kg: quartz dust 0.20 ± 0.03 g/kg; no likely source for the rest: silver 60 mg/kg",
			"this explains only 33 % of what is more than usual; there is something else too\n" + hold},
		{"sodium and potassium", []Excess{{"Na", 64, 6, 0}, {"K", 39, 7, 0}, {"Si", 1, 5, 0}}, "sodium 64 mg/kg: coolant 7 to 32 g/kg", note},
		{"silver, which nothing has", []Excess{{"Ag", 12, 2, 0}, {"Fe", 3, 9, 0}},
			"no likely source for silver 12 mg/kg",
			""},
		{"copper and lead", []Excess{{"Cu", 70, 9, 0}, {"Pb", 60, 8, 0}, {"Sn", 9, 5, 0}, {"Fe", 2, 9, 0}},
			"copper 69 mg/kg: copper-lead shell 0.09 ± 0.01 g/kg, copper of a cooler 0.069 ± 0.009 g/kg or bronze 0.06 to 0.09 g/kg; lead beyond that 39 mg/kg: lead overlay 0.04 ± 0.01 g/kg",
			note},
	} {
		r := Of(tt.excesses)
		if got := r.Words(); got != tt.want {
			t.Errorf("%s:\ngot  %s\nwant %s", tt.name, got, tt.want)
		}
		if got := strings.Join(r.Notes(), "\n"); got != tt.notes {
			t.Errorf("%s:\ngot  %s\nwant %s", tt.name, got, tt.notes)
		}
	}
}

// What is no number or has no error is left out; where nothing is really more than usual
// there is nothing to read.
func TestWhatCannotBeWeighed(t *testing.T) {
	sound := []Excess{{"Si", 65, 8, 0}, {"Al", 14, 5, 0}}
	want := Of(sound)
	for _, odd := range []Excess{{"Fe", math.NaN(), 1, 0}, {"Fe", math.Inf(1), 1, 0}, {"Fe", 3, math.NaN(), 0}, {"Fe", 3, -1, 0}, {"Fe", 1e300, 1, 0}, {"Fe", 3, 1e300, 0}, {"Fe", 3, 1, math.Inf(1)}} {
		if got := Of(append(slices.Clip(sound), odd)); !reflect.DeepEqual(got, want) {
			t.Errorf("with %v: %s", odd, told(got))
		}
		if got := Of([]Excess{odd}); got != nil {
			t.Errorf("%v is read as %s", odd, told(got))
		}
	}
	for _, none := range [][]Excess{nil, {{"Fe", 5, 9, 0}}, {{"Fe", -50, 9, 0}}} {
		if got := Of(none); got != nil {
			t.Errorf("%v is read as %s", none, told(got))
		}
	}
}

// Whatever a sheet has, what is read of it are numbers, sources that are there, and words.
func TestAnySheet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var excesses []Excess
		for _, a := range rapid.SliceOfNDistinct(rapid.SampledFrom(slices.Sorted(maps.Keys(usual))), 0, 12, rapid.ID).Draw(t, "analytes") {
			excesses = append(excesses, Excess{a, rapid.Float64Range(-500, 1e6).Draw(t, "value"), rapid.Float64Range(0, 500).Draw(t, "error"), rapid.Float64Range(0, 100).Draw(t, "half")})
		}
		r := Of(excesses)
		if r == nil {
			return
		}
		if _, err := json.Marshal(r); err != nil {
			t.Error(err)
		}
		for _, p := range r.Parts {
			for _, m := range p.Mixes {
				for _, a := range m {
					if !(a.Amount > 0 && a.Error > 0) || len(a.From) == 0 {
						t.Errorf("%+v", a)
					}
				}
			}
		}
		if r.Words() == "" && len(r.Parts)+len(r.Beyond) > 0 {
			t.Errorf("no words for %+v", r)
		}
	})
}

// The order in which a sheet lists its results changes nothing.
func TestOrderChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		_, _, excesses := mixture(t)
		want := Of(excesses)
		if got := Of(rapid.Permutation(excesses).Draw(t, "order")); !reflect.DeepEqual(got, want) {
			t.Errorf("got %s, want %s", told(got), told(want))
		}
	})
}
