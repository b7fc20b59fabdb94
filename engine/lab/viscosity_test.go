package lab

import (
	"fmt"
	"math"
	"testing"
)

// ASTM D2270: the standard's own examples 73.30/8.86 -> 92 and 22.83/5.05 -> 156;
// 1000/100 -> 193 was computed independently from its formulas.
func TestViscosityIndex(t *testing.T) {
	for _, tt := range []struct{ kv40, kv100, want float64 }{{73.30, 8.86, 92}, {22.83, 5.05, 156}, {1000, 100, 193}} {
		if got, ok := ViscosityIndex(tt.kv40, tt.kv100); got != tt.want || !ok {
			t.Errorf("VI of %v/%v = %v, %v, want %v", tt.kv40, tt.kv100, got, ok, tt.want)
		}
	}
	for _, bad := range [][2]float64{{10, 1.9}, {5, 5}, {nan, 5}, {50, nan}, {math.Inf(1), 5}} {
		if got, ok := ViscosityIndex(bad[0], bad[1]); ok {
			t.Errorf("VI of %v = %v", bad, got)
		}
	}
}

// The whole table: by definition an oil at H has index 100 and one at L has 0; and
// the table rises without a jump, also into the formulas above it.
func TestViscosityTable(t *testing.T) {
	if len(d2270) != 311 {
		t.Fatalf("%d rows, want 311", len(d2270))
	}
	for i, r := range d2270 {
		if vi, ok := ViscosityIndex(r.h, r.y); !ok || vi != 100 {
			t.Errorf("at H of %v: %v, %v", r.y, vi, ok)
		}
		if vi, ok := ViscosityIndex(r.l, r.y); !ok || vi != 0 {
			t.Errorf("at L of %v: %v, %v", r.y, vi, ok)
		}
		if i > 0 && (r.y <= d2270[i-1].y || r.l <= d2270[i-1].l || r.h <= d2270[i-1].h) {
			t.Errorf("row %v does not rise", r.y)
		}
	}
	l, h := lAndH(70)
	last := d2270[len(d2270)-1]
	near(t, "L into the formula", l, last.l, 2) // 4903.87 and 4905: the standard has that step
	near(t, "H into the formula", h, last.h, 1)
	l, h = lAndH((d2270[0].y + d2270[1].y) / 2)
	near(t, "L between rows", l, (d2270[0].l+d2270[1].l)/2, 1e-9)
	near(t, "H between rows", h, (d2270[0].h+d2270[1].h)/2, 1e-9)
}

// SAE J300: 30 is 9.3 up to but not 12.5, 40 up to but not 16.3, 50 up to but not
// 21.9. ISO 3448: VG 32 is 28.8 to 35.2.
func TestGrades(t *testing.T) {
	tests := []struct {
		name  string
		value float64
		want  string
	}{
		{"SAE 30", 9.3, "SAE 30 KV100 0 true"}, {"30", 12.49, "SAE 30 KV100 0 true"},
		{"SAE 30", 12.5, "SAE 30 KV100 0 false"}, {"SAE 30", 8.8, "SAE 30 KV100 -0.5 false"},
		{"5W-30", 13, "SAE 5W-30 KV100 0.5 false"}, {"sae 15w-40", 12.5, "SAE 15W-40 KV100 0 true"},
		{"25W-20", 9, "SAE 25W-20 KV100 -0.3 false"}, // thinner than 25W allows
		{"10W", 400, "SAE 10W KV100 0 true"}, {"SAE 10W", 4, "SAE 10W KV100 -0.1 false"},
		{"ISO VG 32", 28.8, "ISO VG 32 KV40 0 true"}, {"VG 32", 35.2, "ISO VG 32 KV40 0 true"},
		{"ISO VG 32", 36.2, "ISO VG 32 KV40 1 false"}, {"VG 6.8", 6, "ISO VG 6.8 KV40 -0.12 false"},
		{"SAE 30", nan, "SAE 30 KV100 NaN false"},
	}
	for _, tt := range tests {
		g, ok := GradeNamed(tt.name)
		amount, in := g.Out(tt.value)
		if got := fmt.Sprintf("%s %s %.4g %v", g.Name, g.Analyte, amount, in); got != tt.want || !ok {
			t.Errorf("%v of %q: %s, %v; want %s", tt.value, tt.name, got, ok, tt.want)
		}
	}
	for _, bad := range []string{"", "ATF", "SAE 35", "30-5W", "5W-10W", "ISO VG 33", "VG x", "gear 30"} {
		if g, ok := GradeNamed(bad); ok {
			t.Errorf("%q is %v", bad, g)
		}
	}
}

func TestGradesOf(t *testing.T) {
	for _, tt := range []struct {
		analyte string
		value   float64
		want    string
	}{
		{"KV100", 10, "SAE 30"}, {"KV100", 7, "SAE 12 SAE 16 SAE 20"}, {"KV100", 16.3, "SAE 50"}, {"KV100", 30, ""},
		{"KV40", 46, "ISO VG 46"}, {"KV40", 40, ""}, {"KV40", 28.8, "ISO VG 32"}, {"TBN", 5, ""},
	} {
		got := ""
		for _, g := range GradesOf(tt.analyte, tt.value) {
			if got != "" {
				got += " "
			}
			got += g.Name
		}
		if got != tt.want {
			t.Errorf("%s %v: %q, want %q", tt.analyte, tt.value, got, tt.want)
		}
	}
}

// What a rule asks of a sample: the first example of ASTM D2270, and SAE J300.
func TestSheetViscosity(t *testing.T) {
	s := Sheet{History: History{{Results: []Result{{Analyte: "KV40", Value: 73.30}, {Analyte: "KV100", Value: 8.86}}}}}
	if v, why, ok := s.ViscosityIndex(); !ok || v != 92 {
		t.Errorf("index %v, %q", v, why)
	}
	if v, why, ok := s.OutOfGrade("SAE 5W-30"); !ok || math.Abs(v+0.44) > 1e-9 {
		t.Errorf("out by %v, %q", v, why)
	}
	for name, want := range map[string]string{"SAE 7W": "a grade called SAE 7W", "ISO VG 68": ""} {
		if _, why, ok := s.OutOfGrade(name); why != want || ok != (want == "") {
			t.Errorf("%s: %q", name, why)
		}
	}
	if _, why, _ := (Sheet{History: History{{}}}).ViscosityIndex(); why != "viscosity at 40 °C (KV40) in the sample" {
		t.Error(why)
	}
}
