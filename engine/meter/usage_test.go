package meter

import (
	"fmt"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
	"pgregory.net/rapid"
)

// spell is a number of days at so many km a day, with a reading every few days.
type spell struct {
	days, every int
	perDay      float64
}

// driven makes the readings of some spells one after the other, from 40,000 km.
func driven(spells ...spell) []Reading {
	at, value := int64(0), 40000.0
	out := []Reading{{At: at, Value: value * km}}
	for _, s := range spells {
		for d := s.every; d <= s.days; d += s.every {
			at += int64(s.every) * day
			value += s.perDay * float64(s.every)
			out = append(out, Reading{At: at, Value: value * km})
		}
	}
	return out
}

// sayUsage writes usage in km a day.
func sayUsage(u Usage) string {
	perDay := func(v float64) string { return fmt.Sprintf("%.0f", v*day/km) }
	if !u.OK {
		return fmt.Sprintf("unknown from %d readings", u.N)
	}
	s := fmt.Sprintf("%s (%s to %s)", perDay(u.PerSecond), perDay(u.Low), perDay(u.High))
	if u.LaidUp {
		s += ", laid up"
	}
	return s
}

func TestEstimate(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []Reading
		want     string
	}{
		{"nothing", nil, "unknown from 0 readings"},
		{"two readings", driven(spell{60, 60, 100}), "unknown from 2 readings"},
		{"thirteen days", driven(spell{13, 1, 100}), "unknown from 14 readings"},
		{"fourteen days", driven(spell{14, 7, 100}), "100 (100 to 100)"},
		{"a steady year", driven(spell{364, 7, 150}), "150 (150 to 150)"},
		{"the latest months count", driven(spell{360, 30, 50}, spell{150, 30, 200}), "200 (200 to 200)"},
		{"never moved", driven(spell{90, 7, 0}), "0 (0 to 0), laid up"},
		{"laid up for winter: it goes on standing, but may go back to work", driven(spell{180, 7, 120}, spell{90, 7, 0}), "0 (0 to 120), laid up"},
		{"moved about the yard while laid up", driven(spell{180, 6, 120}, spell{90, 6, 1}), "1 (1 to 120), laid up"},
		{"three weeks' rest is no laying up", driven(spell{182, 7, 120}, spell{21, 7, 0}), "120 (120 to 120)"},
		{"back to work: the winter is left out", driven(spell{180, 7, 120}, spell{150, 30, 0}, spell{14, 7, 120}), "120 (120 to 120)"},
		{"a gritter works every winter", driven(spell{120, 7, 200}, spell{240, 30, 0}, spell{120, 7, 200}, spell{240, 30, 0}, spell{28, 7, 210}), "200 (200 to 201)"},
	} {
		u := Estimate(c.readings)
		if got := sayUsage(u); got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
		if u.Low > u.PerSecond || u.High < u.PerSecond || u.Low < 0 {
			t.Errorf("%s: %+v", c.name, u)
		}
	}
}

// Usage trails the last reading and is a function of what it is given, and what
// bounds it bounds it, however the vehicle was driven.
func TestUsageBounds(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		at, value := int64(0), 0.0
		var readings []Reading
		for range rapid.IntRange(0, 60).Draw(r, "n") {
			at += rapid.Int64Range(1, 40*day).Draw(r, "gap")
			value += float64(rapid.IntRange(0, 9000).Draw(r, "km")) * km
			readings = append(readings, Reading{At: at, Value: value})
		}
		u := Estimate(readings)
		if u.OK != (len(readings) >= 3 && at-readings[0].At >= 14*day) {
			r.Fatalf("known: %v from %d readings", u.OK, len(readings))
		}
		if !u.OK {
			return
		}
		if !(0 <= u.Low && u.Low <= u.PerSecond && u.PerSecond <= u.High && u.Scatter >= 0) {
			r.Fatalf("%+v", u)
		}
		if ten := float64(10 * day); u.N < 2 || u.Days <= 0 || u.Days*day > float64(at-readings[0].At)+ten {
			r.Fatalf("rests on %d readings over %v days", u.N, u.Days)
		}
		if u != Estimate(readings) {
			r.Fatal("twice the same gave two")
		}
		checkForecast(r, u, at, value)
	})
}

func checkForecast(r *rapid.T, u Usage, at int64, value float64) {
	threshold := value + float64(rapid.IntRange(1, 20000).Draw(r, "ahead"))*km
	early, likely, late, ok := u.Reach(at, value, threshold)
	if !ok {
		if u.PerSecond > 0 && (threshold-value)/u.PerSecond < farthest {
			r.Fatal("no forecast")
		}
		return
	}
	if !(at < early && early <= likely && likely <= late && late <= at+farthest) {
		r.Fatalf("early %d, likely %d, late %d after %d", early-at, likely-at, late-at, at)
	}
	// Now and Reach agree: at the early date the upper bound is there, at the likely
	// the mean, at the late the lower bound; a day before they are not.
	for i, moment := range []int64{likely, late, early} {
		est, low, high := u.Now(at, value, moment)
		beforeEst, beforeLow, beforeHigh := u.Now(at, value, moment-day)
		got := []float64{est, low, high}[i]
		before := []float64{beforeEst, beforeLow, beforeHigh}[i]
		capped := moment == at+farthest
		if !capped && got < threshold-1 || before > threshold {
			r.Fatalf("bound %d: %v at its date, %v the day before; threshold %v", i, got, before, threshold)
		}
	}
	if _, further, _, ok := u.Reach(at, value, threshold+km); ok && further < likely {
		r.Fatal("a later threshold is reached sooner")
	}
}

func TestQuantiles(t *testing.T) {
	if want := distuv.UnitNormal.Quantile(0.9); math.Abs(z80-want) > 1e-12 {
		t.Errorf("normal: %v, want %v", z80, want)
	}
	for free := 1; free <= 100; free++ {
		want := distuv.StudentsT{Sigma: 1, Nu: float64(free)}.Quantile(0.9)
		least := 0.0005
		if free > len(t80) {
			least = 0.03 // the normal one stands for it
		}
		if got := student80(free); math.Abs(got-want) > least {
			t.Errorf("%d degrees of freedom: %v, want %v", free, got, want)
		}
	}
}

func TestReach(t *testing.T) {
	steady := Usage{OK: true, PerSecond: 100 * km / day, Low: 80 * km / day, High: 125 * km / day}
	for _, c := range []struct {
		name      string
		usage     Usage
		threshold float64
		want      string
	}{
		{"between the paces", steady, 42000, "16 20 25"},
		{"reached", steady, 40000, "0 0 0"},
		{"passed", steady, 39000, "0 0 0"},
		{"unknown usage", Usage{PerSecond: 1}, 42000, "no"},
		{"no threshold", steady, math.NaN(), "no"},
		{"stands still", Usage{OK: true, High: 100 * km / day}, 42000, "no"},
		{"in more than ten years", Usage{OK: true, PerSecond: 0.5 * km / day}, 42000, "no"},
		{"late is ten years at most", Usage{OK: true, PerSecond: 1 * km / day, High: 2 * km / day}, 42000, "967 2000 3653"},
		{"scatter: in 100 days it may stray 1000 km, and the pace drifts", Usage{OK: true, PerSecond: 100 * km / day, Low: 100 * km / day, High: 100 * km / day,
			Scatter: 100 * km / math.Sqrt(day)}, 50000, "87 100 119"},
	} {
		early, likely, late, ok := c.usage.Reach(0, 40000*km, c.threshold*km)
		got := "no"
		if ok {
			got = fmt.Sprintf("%d %d %d", (early+day/2)/day, (likely+day/2)/day, (late+day/2)/day)
		}
		if got != c.want {
			t.Errorf("%s: got %s, want %s", c.name, got, c.want)
		}
	}
}

func TestNow(t *testing.T) {
	u := Usage{OK: true, PerSecond: 100 * km / day, Low: 70 * km / day, High: 130 * km / day, Scatter: 40 * km / math.Sqrt(day)}
	for _, c := range []struct {
		days int64
		want string
	}{
		{-5, "40000 (40000 to 40000)"},
		{0, "40000 (40000 to 40000)"},
		{1, "40100 (40050 to 40150)"}, // 30 and 40 and a drift of 1.2 in squares
		{100, "50000 (46741 to 53259)"},
	} {
		est, low, high := u.Now(0, 40000*km, c.days*day)
		if got := fmt.Sprintf("%.0f (%.0f to %.0f)", est/km, low/km, high/km); got != c.want {
			t.Errorf("after %d days: got %s, want %s", c.days, got, c.want)
		}
	}
}

// A forecast made at one reading is the same whenever it is asked for: nothing in
// it moves with the clock.
func TestForecastStaysPut(t *testing.T) {
	readings := driven(spell{120, 5, 90})
	last := readings[len(readings)-1]
	_, first, _, _ := Estimate(readings).Reach(last.At, last.Value, last.Value+900*km)
	if got := time.Unix(first, 0).Sub(time.Unix(last.At, 0)); got != 10*24*time.Hour {
		t.Errorf("got %s, want 10 days after the last reading", got)
	}
}

func chain64() []Reading {
	var out []Reading
	for i := range 64 {
		out = append(out, Reading{At: int64(i) * day, Value: 80000*km + float64(i*200+i*i%37)*km})
	}
	return out
}

func BenchmarkReadingAppends(b *testing.B) {
	chain := chain64()
	prev, next := chain[62], chain[63]
	b.ReportAllocs()
	for b.Loop() {
		if !Appends(prev, next, Ease(chain[0]), Distance) {
			b.Fatal("does not append")
		}
	}
}

func BenchmarkChain64(b *testing.B) {
	healthy, sick := chain64(), chain64()
	for i := 5; i < 64; i += 9 {
		sick[i].Value /= 1.609344
	}
	for name, chain := range map[string][]Reading{"healthy": healthy, "disputed": sick} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Judge(chain, nil, Distance)
			}
		})
	}
}

func BenchmarkEstimate64(b *testing.B) {
	chain := chain64()
	b.ReportAllocs()
	for b.Loop() {
		Estimate(chain)
	}
}

// A gateway that reports four times a day, on a vehicle that rests at weekends: what
// thinning leaves still gives its mean of 500 km a week.
func TestUsageOfThinned(t *testing.T) {
	var readings []Reading
	value := 40000.0
	for quarter := range 4 * 700 {
		if weekday := quarter / 4 % 7; weekday < 5 {
			value += 25
		}
		readings = append(readings, Reading{At: int64(quarter+1) * day / 4, Value: value * km})
	}
	for weekday := range 7 { // whatever day it is asked on
		u := estimateThinned(readings[:len(readings)-4*weekday])
		if perWeek := u.PerSecond * 7 * day / km; !u.OK || u.LaidUp || math.Abs(perWeek-500) > 15 || u.N < 6 || u.N > 20 {
			t.Errorf("%.1f km a week from %d readings, laid up: %v", perWeek, u.N, u.LaidUp)
		}
	}
}
