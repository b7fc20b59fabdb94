package lab

import (
	"testing"

	"pgregory.net/rapid"
)

// ISO 4406: 300,000, 50,000 and 700 particles above 4, 6 and 14 µm in 100 mL are 19/16/10;
// a number holds "more than" the one limit "up to and including" the other.
func TestISO4406(t *testing.T) {
	for count, want := range map[float64]int{
		3000: 19, 500: 16, 7: 10,
		0: 0, 0.01: 0, 0.011: 1, 5: 9, 5.01: 10, 10: 10, 1300: 17, 1300.1: 18, 2500: 18, 2.5e6: 28, 2.6e6: 29,
	} {
		if got := ISO4406(count); got != want {
			t.Errorf("%v in 1 mL is %d, want %d", count, got, want)
		}
	}
}

// SAE AS4059, limits in 100 mL: 6B 19,500, 7B 38,900, 6C 3,460, 5D 306; no more than is in.
func TestAS4059(t *testing.T) {
	for _, c := range []struct {
		size  int
		count float64 // in 100 mL
		want  int
	}{
		{1, 19500, 6}, {1, 19501, 7}, {1, 38900, 7}, {1, 38901, 8}, {2, 3460, 6}, {2, 3461, 7}, {3, 306, 5}, {3, 307, 6},
		{0, 0, -2}, {0, 195, -2}, {0, 390, -1}, {0, 391, 0}, {5, 1, 1}, {0, 3.2e6, 12}, {0, 3.3e6, 13},
	} {
		if got := AS4059(c.size, c.count/100); got != c.want {
			t.Errorf("size %d, %v in 100 mL is class %d, want %d", c.size, c.count, got, c.want)
		}
	}
	for class, want := range map[int]string{-2: "000", -1: "00", 0: "0", 7: "7", 12: "12", 13: "over 12"} {
		if got := ClassName(class); got != want {
			t.Errorf("class %d is %q, want %q", class, got, want)
		}
	}
}

// The limits double from class to class, as near as the tables are rounded, and fall with
// the size.
func TestCleanlinessTables(t *testing.T) {
	for i, most := range as4059 {
		for size, v := range most {
			if i > 0 && as4059[i-1][size] >= 50 && (v < 1.9*as4059[i-1][size] || v > 2.1*as4059[i-1][size]) {
				t.Errorf("class %s, size %d: %v after %v", ClassName(i-2), size, v, as4059[i-1][size])
			}
			if size > 0 && v > most[size-1] {
				t.Errorf("class %s: %v above a greater size than %v", ClassName(i-2), v, most[size-1])
			}
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 3e6).Draw(t, "count")
		b := a + rapid.Float64Range(0, 3e6).Draw(t, "more")
		if ISO4406(b) < ISO4406(a) || AS4059(0, b) < AS4059(0, a) {
			t.Fatalf("%v is dirtier than %v", a, b)
		}
		if n := ISO4406(a); n < 29 && a > iso4406[n]*(1+1e-9) || n > 0 && a < iso4406[n-1]*(1-1e-9) {
			t.Fatalf("%v is not within the limits of %d", a, n)
		}
	})
}

func TestCleanlinessOfASheet(t *testing.T) {
	s := Sheet{History: History{{Results: []Result{
		{Analyte: "particles4", Value: 3000}, {Analyte: "particles6", Value: 195}, {Analyte: "particles14", Value: 19}, {Analyte: "iso4", Value: 21}}}}}
	coded := Sheet{History: History{{Results: []Result{{Analyte: "iso4", Value: 21}}}}}
	for _, c := range []struct {
		name string
		ask  func(string) (float64, string, bool)
		of   string
		want float64
		why  string
	}{
		{"the count comes before the code", s.ISO4406, "particles4", 19, ""},
		{"the code alone", coded.ISO4406, "particles4", 21, ""},
		{"neither", coded.ISO4406, "particles6", 0, "particles above 6 µm (particles6) in the sample"},
		{"class", s.AS4059, "particles6", 6, ""},
		{"no class of a code", coded.AS4059, "particles4", 0, "particles above 4 µm (particles4) in the sample"},
	} {
		got, why, ok := c.ask(c.of)
		if ok != (c.why == "") || why != c.why || ok && got != c.want {
			t.Errorf("%s: %v, %q", c.name, got, why)
		}
	}
	if !s.FewCounted("particles14") || s.FewCounted("particles6") || coded.FewCounted("particles6") {
		t.Error("few counted")
	}
}
