package lab

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func members(values []float64) []Member {
	var out []Member
	for i, v := range values {
		out = append(out, Member{ID: fmt.Sprintf("s%02d", i+1), Result: Result{Analyte: "Cu", Value: v}, Age: 1000 * float64(i%3)})
	}
	return out
}

// A group tests logarithms. EPA 530/R-09-007 example 12-4 finds 35.45 and 23.23 among
// the raw values; among their logarithms nothing is far out, and the group keeps all.
func TestGroupOutliers(t *testing.T) {
	g := GroupOf(members(numbers(t, "epa_12_4_naphthalene.csv", 0)), 20)
	if got, want := fmt.Sprint(g.Outliers, g.Members, g.Detected, g.Aged, g.Usable, g.Notes), "[] 25 25 25 true []"; got != want {
		t.Errorf("group = %s, want %s", got, want)
	}
	values := []float64{20, 22, 19, 25, 21, 23, 18, 24, 20, 22, 21, 26, 17, 23, 22, 24, 19, 20, 21, 400}
	g = GroupOf(members(values), 20)
	want := "[s20] 19 19 19 false [19 samples are fewer than the 20 that a baseline needs]"
	if got := fmt.Sprint(g.Outliers, g.Members, g.Detected, g.Aged, g.Usable, g.Notes); got != want {
		t.Errorf("group = %s, want %s", got, want)
	}
	if g.Mean.Low != g.Mean.High || g.Median.Low != 21 || g.Spread.Low != g.Spread.High {
		t.Errorf("nothing is censored: %+v", g)
	}
}

func TestGroupCensored(t *testing.T) {
	ms := members([]float64{1, 4, 2, 8, 16})
	ms[0].Result.Censored, ms[2].Result.Censored = true, true
	ms[1].Age = nan
	g := GroupOf(ms, 3)
	near(t, "mean, low", g.Mean.Low, (4+8+16)/5.0, 1e-12)
	near(t, "mean, high", g.Mean.High, (4+8+16+2+2)/5.0, 1e-12)
	if g.Median != (Span{4, 4}) {
		t.Errorf("median = %v", g.Median)
	}
	if g.Spread.Low >= g.Spread.High || math.IsNaN(g.SD) || !g.Usable || g.Detected != 3 {
		t.Errorf("group = %+v", g)
	}
	want := "[not tested for outliers: 3 values were detected, the test needs 15 the fluid's age is unknown for 1 of 5 samples]"
	if got := fmt.Sprint(g.Notes); got != want {
		t.Errorf("notes = %s, want %s", got, want)
	}
	if g := GroupOf(nil, 0); g.Usable || !math.IsNaN(g.Median.Low) {
		t.Errorf("a group of none = %+v", g)
	}
}

// EPA 530/R-09-007 example 17-3, p. 17-17 (chrysene, n 8): 90.9247; seven are too few,
// and with a zero among them there are no logarithms.
func TestGroupMost(t *testing.T) {
	values := numbers(t, "epa_17_3_chrysene.csv", 0)
	near(t, "most", GroupOf(members(values), 0).Most, 90.9247, 5e-5)
	if g := GroupOf(members(values[:7]), 0); !math.IsNaN(g.Most) {
		t.Errorf("most of seven = %v", g.Most)
	}
	if g := GroupOf(members(append(values, 0)), 0); !math.IsNaN(g.Most) {
		t.Errorf("most with a zero = %v", g.Most)
	}
	// Of results below a limit: those that the regression fills in.
	censored := members(values)
	censored[0].Result.Censored = true
	if g := GroupOf(censored, 0); math.IsNaN(g.Most) || math.IsNaN(g.SD) {
		t.Errorf("with one censored = %+v", g)
	}
}

func BenchmarkToleranceFactor(b *testing.B) {
	for b.Loop() {
		toleranceFactor(200, 0.95, 0.95)
	}
}

// A group is the same whatever order its members come in, and its ranges enclose
// what the full values would have given.
func TestGroupProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var full, seen []Member
		for i := range rapid.IntRange(1, 30).Draw(t, "n") {
			v := float64(rapid.IntRange(0, 40).Draw(t, "value"))
			m := Member{ID: fmt.Sprint(i), Result: Result{Analyte: "Cu", Value: v}, Age: nan}
			full = append(full, m)
			if limit := float64(rapid.IntRange(1, 9).Draw(t, "limit")); v < limit {
				m.Result = Result{Analyte: "Cu", Value: limit, Censored: true}
			}
			seen = append(seen, m)
		}
		want, got := GroupOf(full, 1), GroupOf(seen, 1)
		if !slices.Equal(want.Outliers, got.Outliers) {
			return // with different outliers they are different groups
		}
		for _, p := range [][2]Span{{want.Median, got.Median}, {want.P90, got.P90}, {want.Spread, got.Spread}} {
			if p[0].Low < p[1].Low-1e-9 || p[0].High > p[1].High+1e-9 {
				t.Fatalf("%v does not enclose %v", p[1], p[0])
			}
		}
		shuffled := GroupOf(rapid.Permutation(seen).Draw(t, "order"), 1)
		if fmt.Sprint(shuffled) != fmt.Sprint(got) {
			t.Fatalf("order changes %v to %v", got, shuffled)
		}
	})
}
