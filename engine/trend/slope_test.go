package trend

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// z80 is the 90 % quantile of the normal distribution.
const z80 = 1.2815515655446004

func TestSlopeOfNoTime(t *testing.T) {
	if _, _, _, ok := Slope([]float64{1, 1}, []float64{2, 3}, z80); ok {
		t.Error("a slope at one moment")
	}
}

// On a line the slope is exact and certain; up to three wild points of twelve leave
// it between slopes of the line and do not carry it away.
func TestSlopeIsRobust(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		pace := float64(rapid.IntRange(-1000, 1000).Draw(r, "pace"))
		var x, y []float64
		for i := range 12 {
			x, y = append(x, float64(i)), append(y, pace*float64(i))
		}
		if s, low, high, _ := Slope(x, y, z80); s != pace || low != pace || high != pace {
			r.Fatalf("got %v, %v to %v on a line of %v", s, low, high, pace)
		}
		for range 3 {
			y[rapid.IntRange(0, 11).Draw(r, "wild")] = float64(rapid.IntRange(-1e6, 1e6).Draw(r, "value"))
		}
		if s, low, high, _ := Slope(x, y, z80); s != pace || low > s || high < s {
			r.Fatalf("got %v, %v to %v, with three wild points", s, low, high)
		}
	})
}

func TestAtRank(t *testing.T) {
	list := []float64{10, 20, 40}
	got := []float64{atRank(list, -3), atRank(list, 1), atRank(list, 1.5), atRank(list, 2.75), atRank(list, 3), atRank(list, 9)}
	if want := []float64{10, 10, 15, 35, 40, 40}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func BenchmarkTheilSen64(b *testing.B) {
	var x, y []float64
	for i := range 64 {
		x, y = append(x, float64(i)), append(y, float64(i*200+i*i%37))
	}
	b.ReportAllocs()
	for b.Loop() {
		Slope(x, y, z80)
	}
}
