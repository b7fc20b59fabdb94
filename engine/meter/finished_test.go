package meter

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// A forecast made on day 0 for day 30, between 20 and 50, is scored by where the meter
// came to its value: readings lie ten days apart, the date between them by proportion.
func TestForecastScore(t *testing.T) {
	f := Forecast{From: 0, Early: 20 * day, Likely: 30 * day, Late: 50 * day, Target: 300}
	read := func(perDay float64, until, apart int64) (list []Reading) {
		for d := int64(0); d <= until; d += apart {
			list = append(list, Reading{At: d * day, Value: perDay * float64(d)})
		}
		return list
	}
	for _, c := range []struct {
		what     string
		readings []Reading
		score    float64
		ok       bool
	}{
		{"as likely", read(10, 60, 10), 0, true},
		{"as early as the range", read(15, 60, 10), -1, true},
		{"as late as the range", read(6, 60, 10), 1, true},
		{"half as late", read(7.5, 60, 10), 0.5, true},
		{"not in twice the time: as if then", read(2, 60, 10), 1.5, true},
		{"standing still", read(0, 60, 10), 1.5, true},
		{"later than twice the time", read(4.5, 90, 10), 1.5, true},
		{"nobody read it for 60 days", read(10, 60, 60), 0, false},
	} {
		score, ok := f.Score(c.readings)
		if ok != c.ok || ok && math.Abs(score-c.score) > 1e-5 {
			t.Errorf("%s: %v, %v, want %v, %v", c.what, score, ok, c.score, c.ok)
		}
	}
	if f.Over() != 60*day {
		t.Errorf("over on day %v", float64(f.Over())/day)
	}
	if s := scoreOf(2*day+day/2, 2*day, 2*day, 2*day); s != 0.5 {
		t.Errorf("half a day after a range of nothing is scored %v, want 0.5", s)
	}
}

// The stretch of n scores: at ranks (n+1)/10 and 9(n+1)/10, rounded outwards.
func TestScaleOf(t *testing.T) {
	var scores []float64
	for i := range 99 {
		scores = append(scores, float64(i-49)/10) // -4.9 to 4.9: the 10th is -4.0, the 90th 4.0
	}
	if s := ScaleOf(scores); s != (Scale{4, 4}) {
		t.Errorf("of 99: %+v", s)
	}
	if s := ScaleOf([]float64{-2, 0, 1, 3}); s != (Scale{2, 3}) {
		t.Errorf("of 4, the outermost: %+v", s)
	}
	if s := ScaleOf([]float64{2, 2, 2}); s != (Scale{leastScale, 2}) {
		t.Errorf("all late: %+v", s)
	}
	rapid.Check(t, func(t *rapid.T) {
		x := rapid.SliceOfN(rapid.Float64Range(-3, 3), 10, 300).Draw(t, "scores")
		slices.Sort(x)
		s, in := ScaleOf(x), 0
		for _, v := range x {
			if s.Holds(v) {
				in++
			}
		}
		if float64(in) < 0.8*float64(len(x)) {
			t.Fatalf("%+v holds %d of the %d that it was made of", s, in, len(x))
		}
	})
}

// A range is stretched on each side by its own factor, and stays behind the last reading
// and within ten years of it.
func TestRange(t *testing.T) {
	u := Usage{OK: true, PerSecond: 100.0 / day, Low: 90.0 / day, High: 110.0 / day}
	by := func(s Scale) func(int64) Scale { return func(int64) Scale { return s } }
	early, likely, late, _ := u.Reach(0, 0, 3000)
	e, l, la, ok := u.Range(0, 0, 3000, by(Scale{2, 3}))
	if !ok || l != likely || l-e != 2*(likely-early) || la-l != 3*(late-likely) {
		t.Errorf("%d %d %d, %v of %d %d %d", e, l, la, ok, early, likely, late)
	}
	u.Range(7, 0, 3000, func(ahead int64) Scale {
		if ahead != 30*day {
			t.Errorf("%v days ahead", float64(ahead)/day)
		}
		return Unproven
	})
	if e, _, la, _ := u.Range(7, 0, 3000, by(Scale{100, 1e6})); e != 7 || la != 7+farthest {
		t.Errorf("from %d to %d", e, la)
	}
	if e, l, la, ok := u.Range(7, 3000, 3000, by(Scale{2, 3})); e != 7 || l != 7 || la != 7 || !ok {
		t.Errorf("what is reached: %d %d %d %v", e, l, la, ok)
	}
	if _, _, _, ok := (Usage{}).Range(7, 0, 1, by(Unproven)); ok {
		t.Error("a range without usage")
	}
}
