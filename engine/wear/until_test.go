package wear

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"telltale/engine/lab"
	"telltale/engine/record"
	"telltale/rules"
	"telltale/rules/unit"
)

// track is one of values in millimetres at kilometres.
func track(rises bool, km, mm []float64) Track {
	t := Track{Measure: &rules.Measure{Name: "lining", Unit: "mm", Kind: unit.Length, Rises: rises}}
	for i := range km {
		t.Lab = append(t.Lab, lab.Step{Distance: km[i] * 1000, Hours: math.NaN(), Results: []lab.Result{{Analyte: "lining", Value: mm[i]}}})
		t.Points = append(t.Points, Point{Place: record.Place{At: int64(i) * 86400e9}})
	}
	return t
}

// By hand: four linings at 80,000, 84,000, 88,000 and 92,000 km. The slopes of the six pairs,
// in mm per 1,000 km, are 0.25, 0.275, 0.3, 0.325, 0.35 and 0.3: their median is 0.3. 6.0
// less 3.0 at 0.3 are 10,000 km. Of four values no slope lies beyond the least and the greatest
// of the pairs (trend.Sure). One digit, 0.1 mm, over 12,000 km makes 0.00833 of that; half a
// digit is taken off, or added to, what is left. The line through the middle stands at 6.05
// and 5.95 with the last value at 6.0, which is the worse of the middle two: nothing to add.
func TestWorkedExample(t *testing.T) {
	f := track(false, []float64{80, 84, 88, 92}, []float64{9.6, 8.5, 7.1, 6.0}).Until(3)
	slopes := []float64{1.1 / 4, 2.5 / 8, 3.6 / 12, 1.4 / 4, 2.5 / 8, 1.1 / 4} // of all pairs
	fast, slow, middle := slopes[3], slopes[0], (slopes[1]+slopes[2])/2
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"likely", f.At, 92 + 3/middle},
		{"latest", f.High, 92 + 3.05/(slow-0.1/12)},
		{"measurements", float64(f.Measurements), 4}, {"sure", f.Sure, 11. / 12},
	} {
		scale := 1.0
		if c.want > 50 {
			scale = 1000
		}
		if math.Abs(c.got/scale-c.want) > 0.01 {
			t.Errorf("%s: %v, want %v", c.name, c.got/scale, c.want)
		}
	}
	if least := 92 + 2.9/(fast+0.1/12); f.Low/1000 > 92+2.95/(fast+0.1/12)+0.01 || f.Low/1000 < least-1 {
		t.Errorf("earliest: %v, want about %v", f.Low/1000, least)
	}
}

// Along a line, the forecast is where gonum's regression puts it, whichever way the part
// wears; its range holds that.
func TestRegression(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 12).Draw(t, "values")
		from, step := rapid.Float64Range(0, 3e5).Draw(t, "from"), rapid.Float64Range(500, 9000).Draw(t, "step")
		pace := rapid.Float64Range(0.05, 1).Draw(t, "pace") / 1000 // mm a km
		rises := rapid.Bool().Draw(t, "rises")
		sign := -1.0
		if rises {
			sign = 1
		}
		var km, mm []float64
		for i := range n {
			km = append(km, from+float64(i)*step)
			mm = append(mm, 100+sign*pace*float64(i)*step)
		}
		limit := mm[n-1] + sign*rapid.Float64Range(0.5, 20).Draw(t, "left")
		a, b := stat.LinearRegression(km, mm, nil, false)
		want := (limit - a) / b
		f := track(rises, km, mm).Until(limit)
		if f.Missing != "" || math.Abs(f.At/1000-want) > 1e-6*want || !(f.Low <= f.At && f.At <= f.High) {
			t.Fatalf("%+v, want %v", f, want)
		}
	})
}

// Of linings that wear evenly and are read to a tenth, with the scatter of a gauge in a
// hand, the true end lies within the range as often as it says or more.
func TestRangeHolds(t *testing.T) {
	for _, n := range []int{3, 4, 5, 8} {
		r, held, all, sure := rand.New(rand.NewPCG(1, uint64(n))), 0, 0, 0.0
		for range 2000 {
			pace := (1 + 6*r.Float64()) / float64(4*n) // mm in 1,000 km
			var km, mm []float64
			for i := range n {
				at := float64(i)*4 + r.Float64()
				km, mm = append(km, at), append(mm, math.Round(10*(12-pace*at+0.1*r.NormFloat64()))/10)
			}
			f := track(false, km, mm).Until(3)
			if f.Missing != "" || f.Reached {
				continue
			}
			end := 9 / pace
			all, sure = all+1, f.Sure
			if f.Low/1000 <= end && end <= f.High/1000 {
				held++
			}
		}
		if share := float64(held) / float64(all); share < sure || all < 1500 {
			t.Errorf("%d values: the range held %.3f of %d, want %.3f", n, share, all, sure)
		}
	}
}

func TestUntil(t *testing.T) {
	for _, c := range []struct {
		rises  bool
		km, mm []float64
		limit  float64
		want   string
	}{
		{false, nil, nil, 3, "no measurement of the lining yet"},
		{false, []float64{1, 2}, []float64{5, 4}, 3, "2 measurements of the lining so far, three are needed"},
		{false, []float64{1, 2, 3}, []float64{5, 5.5, 6}, 3, "the lining does not wear, by 3 measurements"},
		{true, []float64{1, 2, 3}, []float64{5, 5, 5}, 7, "the lining does not wear, by 3 measurements"},
		{false, []float64{1}, []float64{3}, 3, "reached at 1"},
		{false, []float64{1, 2, 3}, []float64{2.9, 2.8, 2.5}, 3, "reached at 1"},
		{false, []float64{1, 2, 3}, []float64{2.9, 3.1, 2.5}, 3, "reached at 3"},
		{true, []float64{1, 2, 3}, []float64{0.2, 0.5, 0.6}, 0.5, "reached at 2"},
		{false, []float64{0, 10, 20}, []float64{8, 7, 6}, 3, "at 50, 37 to 90"},
		{false, []float64{0, 10, 20}, []float64{8, 6, 6}, 3, "at 50, 30 to +Inf"},
	} {
		f := track(c.rises, c.km, c.mm).Until(c.limit)
		got := f.Missing
		switch {
		case f.Reached:
			got = fmt.Sprintf("reached at %v", f.At/1000)
		case got == "":
			got = fmt.Sprintf("at %.0f, %.0f to %.0f", f.At/1000, f.Low/1000, f.High/1000)
		}
		if got != c.want {
			t.Errorf("%v at %v until %v: %q, want %q", c.mm, c.km, c.limit, got, c.want)
		}
	}
}

// A gauge that ends at 8 mm says nothing of how fast a lining wears that is thicker, and
// nothing against it.
func TestOpenValues(t *testing.T) {
	k := track(false, []float64{0, 10, 20, 30}, []float64{8, 7, 6, 5})
	k.Lab[0].Results[0].Above = true
	if f := k.Until(3); f.At/1000 != 50 || f.Missing != "" {
		t.Errorf("%+v", f)
	}
	k.Lab[3].Results[0].Above = true
	if f := k.Until(3); f.Missing != "2 measurements of the lining so far, three are needed" || f.Reached {
		t.Errorf("%+v", f)
	}
	k.Lab[3].Results[0] = lab.Result{Analyte: "lining", Value: 2, Censored: true}
	if f := k.Until(3); !f.Reached || f.At != 30000 {
		t.Errorf("%+v", f)
	}
}
