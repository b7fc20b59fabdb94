package meter

import (
	"encoding/csv"
	"math"
	"os"
	"slices"
	"strconv"
	"testing"

	"pgregory.net/rapid"
)

// sulfate reads the data of EPA 530/R-09-007 (2009) example 17-6.
func sulfate(t *testing.T) (x, y []float64) {
	t.Helper()
	f, err := os.Open("../../testdata/epa_17_6_sulfate.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, row := range rows[1:] {
		for i, list := range []*[]float64{&x, &y} {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			*list = append(*list, v)
		}
	}
	return x, y
}

// EPA 530/R-09-007 example 17-6, p. 17-33: slope 26.6666667 with a 95 % interval
// of 20.00000 to 35.71182, as computed by the R package EnvStats; the variance of
// S is 1428.
func TestTheilSenEPA(t *testing.T) {
	x, y := sulfate(t)
	slope, low, high, ok := slopeOf(x, y, 1.959963984540054)
	if !ok || math.Abs(slope-26.6666667) > 5e-8 || math.Abs(low-20) > 5e-6 || math.Abs(high-35.71182) > 5e-6 {
		t.Errorf("got %v, %v to %v, %v", slope, low, high, ok)
	}
	if v := varianceOfS(x, y); math.Abs(v-1428) > 1e-9 {
		t.Errorf("variance of S %v, want 1428", v)
	}
}

// Kendall (1976) example 4.3, with ties in both: the variance of S is 203.30.
func TestVarianceWithTiesKendall(t *testing.T) {
	x := []float64{1.5, 1.5, 3, 4, 6, 6, 6, 8, 9.5, 9.5, 11, 12}
	y := []float64{2.5, 2.5, 7, 4.5, 1, 4.5, 6, 11.5, 11.5, 8.5, 8.5, 10}
	if v := varianceOfS(x, y); math.Abs(v-203.30) > 0.005 {
		t.Errorf("got %v, want 203.30", v)
	}
}

// The five values 5, 6, 11, 8, 10 of EPA QA/G-9S have the slope 1.125. (The
// attribution is from memory; the slope follows from the values.)
func TestTheilSenOfFive(t *testing.T) {
	if slope, _, _, _ := slopeOf([]float64{1, 2, 3, 4, 5}, []float64{5, 6, 11, 8, 10}, z80); slope != 1.125 {
		t.Errorf("got %v, want 1.125", slope)
	}
}

func TestSlopeOfNoTime(t *testing.T) {
	if _, _, _, ok := slopeOf([]float64{1, 1}, []float64{2, 3}, z80); ok {
		t.Error("a slope at one moment")
	}
}

// On a line the slope is exact and certain; up to three wild points of twelve leave
// it between slopes of the line and do not carry it away.
func TestSlopeIsRobust(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		pace := float64(rapid.IntRange(0, 1000).Draw(r, "pace"))
		var x, y []float64
		for i := range 12 {
			x, y = append(x, float64(i)), append(y, pace*float64(i))
		}
		if s, low, high, _ := slopeOf(x, y, z80); s != pace || low != pace || high != pace {
			r.Fatalf("got %v, %v to %v on a line of %v", s, low, high, pace)
		}
		for range 3 {
			y[rapid.IntRange(0, 11).Draw(r, "wild")] = float64(rapid.IntRange(-1e6, 1e6).Draw(r, "value"))
		}
		if s, low, high, _ := slopeOf(x, y, z80); s != pace || low > s || high < s {
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
		slopeOf(x, y, z80)
	}
}
