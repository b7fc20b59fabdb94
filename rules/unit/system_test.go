package unit

import "testing"

func TestSystemOf(t *testing.T) {
	for _, c := range []struct {
		names []string
		want  System
		err   string
	}{
		{nil, System{}, ""},
		{[]string{"qt", "mi"}, System{Distance: "mi", Volume: "qt"}, ""},
		{[]string{"degF", "psi"}, System{Temperature: "degF", Pressure: "psi"}, ""},
		{[]string{"mi", "km"}, System{}, "mi and km are both for a distance; choose one"},
		{[]string{"m"}, System{}, `"m" is not a unit to read in; choose among km, mi, L, qt, gal, degC, degF, kPa, bar, psi`},
		{[]string{"ppm"}, System{}, `"ppm" is not a unit to read in; choose among km, mi, L, qt, gal, degC, degF, kPa, bar, psi`},
	} {
		got, err := SystemOf(c.names)
		if got != c.want || text(err) != c.err {
			t.Errorf("%q: %v, %q, want %v, %q", c.names, got, text(err), c.want, c.err)
		}
	}
}

func TestSystemOr(t *testing.T) {
	got := System{Distance: "mi"}.Or(System{Distance: "km", Pressure: "psi"}).Or(Metric)
	if want := (System{Distance: "mi", Volume: "L", Temperature: "degC", Pressure: "psi"}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
}

func TestAgreed(t *testing.T) {
	got := Agreed([]System{{Distance: "mi"}, {}, {Distance: "mi", Volume: "qt", Pressure: "psi"}, {Volume: "L"}})
	if want := (System{Distance: "mi", Pressure: "psi"}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
}
