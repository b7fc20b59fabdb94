package meter

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

const (
	km   = 1000.0
	hour = 3600.0
)

// daily makes one reading a day, in the given unit.
func daily(unit float64, values ...float64) []Reading {
	out := make([]Reading, len(values))
	for i, v := range values {
		out[i] = Reading{At: int64(i+1) * day, Value: v * unit}
	}
	return out
}

// shown writes a value as people read it off an instrument that counts so much.
func shown(one float64) func(float64) string {
	name := map[float64]string{km: " km", hour: " h"}[one]
	return func(value float64) string { return unit.Grouped(value/one) + name }
}

// say writes verdicts as one line: the accepted life values, and the disputed
// ones with why and what was meant.
func say(one float64, vs []Verdict) string {
	var out []string
	for _, v := range vs {
		s := unit.Grouped(v.Life / one)
		if !v.Accepted {
			s += " (" + v.Why
			if v.Meant.Slip != "" {
				s += "; " + v.Meant.Words(shown(one))
			}
			s += ")"
		}
		out = append(out, s)
	}
	return strings.Join(out, " | ")
}

func TestJudge(t *testing.T) {
	for _, c := range []struct {
		name     string
		kind     Kind
		readings []Reading
		replaced []Replaced
		want     string
	}{
		{"nothing", Distance, nil, nil, ""},
		{"one", Distance, daily(km, 81000), nil, "81,000"},
		{"all fit, one stands still", Distance, daily(km, 81000, 81200, 81200, 81500), nil, "81,000 | 81,200 | 81,200 | 81,500"},
		{"miles typed as kilometres", Distance, daily(km, 81000, 81200, 50580, 81600), nil,
			"81,000 | 81,200 | 50,580 (going back; miles typed as kilometres: 81,401 km would fit) | 81,600"},
		{"kilometres typed as miles", Distance, daily(km, 81000, 81200, 131001, 81600), nil,
			"81,000 | 81,200 | 131,001 (implausible; kilometres typed as miles: 81,400 km would fit) | 81,600"},
		{"a digit lost", Distance, daily(km, 81000, 81234, 8130, 81600), nil,
			"81,000 | 81,234 | 8,130 (going back; a digit is missing: 81,300 km would fit) | 81,600"},
		{"a digit added", Distance, daily(km, 81000, 813001, 81600), nil,
			"81,000 | 813,001 (implausible; a digit too many: 81,300 km would fit) | 81,600"},
		{"nothing usual", Distance, daily(km, 81000, 30000, 81600), nil, "81,000 | 30,000 (going back) | 81,600"},
		{"one strange reading at the end is disputed", Distance, daily(km, 81000, 81200, 79000), nil,
			"81,000 | 81,200 | 79,000 (going back)"},
		{"and still is where only two stand against it", Distance, daily(km, 81000, 79000), nil, "81,000 | 79,000 (going back)"},
		{"and later ones do not tell whether it was replaced", Distance, daily(km, 81000, 79000, 79200), nil,
			"81,000 | 79,000 (going back) | 79,200 (going back)"},
		{"a service outweighs a plain reading", Distance, []Reading{{day, 81000 * km, 0}, {2 * day, 84500 * km, 0}, {3 * day, 81500 * km, 1}}, nil,
			"81,000 | 84,500 (implausible) | 81,500"},
		{"but where nothing was before, nobody knows", Distance, []Reading{{day, 81000 * km, 0}, {2 * day, 79000 * km, 1}}, nil,
			"81,000 | 79,000 (going back)"},
		{"two digits swapped", Distance, daily(km, 244300, 244700, 254001, 245300), nil,
			"244,300 | 244,700 | 254,001 (implausible; two digits swapped: 245,001 km would fit) | 245,300"},
		{"two digits of miles swapped", Distance, daily(unit.Mile, 15000, 15100, 12500, 15300), nil,
			"24,140 | 24,301 | 20,117 (going back; two digits swapped: 24,462 km would fit) | 24,623"},
		{"too fast", Distance, daily(km, 81000, 84200, 81400), nil, "81,000 | 84,200 (implausible) | 81,400"},
		{"nine million over a gap of ten years, which the greatest speed would allow", Distance,
			[]Reading{{day, 81000 * km, 0}, {3650 * day, 9_000_000 * km, 0}, {3651 * day, 400_000 * km, 0}}, nil,
			"81,000 | 9,000,000 (implausible) | 400,000"},
		{"nine million when nothing else was read", Distance, daily(km, 9_000_000), nil,
			"9,000,000 (implausible; a digit too many: 900,000 km would fit)"},
		{"a million in a year", Distance, []Reading{{day, 81000 * km, 0}, {366 * day, 1_081_000 * km, 0}}, nil, "81,000 | 1,081,000 (implausible; a digit too many: 108,100 km would fit)"},
		{"half a million in a year", Distance, []Reading{{day, 81000 * km, 0}, {366 * day, 581_000 * km, 0}}, nil, "81,000 | 581,000"},
		{"not a number", Distance, daily(km, 81000, math.NaN(), -5, 81400), nil,
			"81,000 | NaN (implausible) | -5 (going back) | 81,400"},
		{"an hour meter runs with the clock at most", Hours, daily(hour, 100, 124, 149, 174, 1740), nil,
			"100 | 124 | 149 | 174 | 1,740 (implausible; a digit too many: 174 h would fit)"},
		{"hours, a digit lost", Hours, daily(hour, 1000, 101, 1016), nil, "1,000 | 101 (going back; a digit is missing: 1,010 h would fit) | 1,016"},
		{"a new instrument goes on counting", Distance, daily(km, 82900, 83000, 12, 212), []Replaced{{2*day + 1, 83000 * km, 12 * km}},
			"82,900 | 83,000 | 83,000 | 83,200"},
		{"a reading at the very moment is of the new one", Distance, daily(km, 82900, 83000, 12), []Replaced{{3 * day, 83000 * km, 12 * km}},
			"82,900 | 83,000 | 83,000"},
		{"two new instruments", Distance, daily(km, 82900, 83000, 12, 212, 5, 105),
			[]Replaced{{4*day + 1, 212 * km, 5 * km}, {2*day + 1, 83000 * km, 12 * km}},
			"82,900 | 83,000 | 83,000 | 83,200 | 83,200 | 83,300"},
		{"replaced before anything was read", Distance, daily(km, 12, 212), []Replaced{{1, 83000 * km, 12 * km}}, "83,000 | 83,200"},
		{"nothing read since", Distance, daily(km, 82900), []Replaced{{2 * day, 83000 * km, 0}}, "82,900"},
		{"what the old one ended at contradicts its readings", Distance, daily(km, 82600, 82800, 82900, 112, 212), []Replaced{{3*day + 1, 8300 * km, 12 * km}},
			"82,600 | 82,800 | 82,900 | 83,000 | 83,100"},
		{"a slip in it does not outweigh one reading", Distance, daily(km, 82900, 112, 212), []Replaced{{day * 3 / 2, 8300 * km, 12 * km}},
			"82,900 | 83,000 | 83,100"},
		{"nor does one in what the new one began with", Distance, daily(km, 82900, 112), []Replaced{{day * 3 / 2, 83000 * km, 12000 * km}},
			"82,900 | 83,000"},
		{"replaced by the word of somebody who knows no values", Distance, daily(km, 82900, 83000, 12, 212), []Replaced{{3 * day, math.NaN(), math.NaN()}},
			"82,900 | 83,000 | 83,000 | 83,200"},
		{"what the new one began with contradicts its readings", Distance, daily(km, 82900, 83000, 50012, 50212, 50412), []Replaced{{2*day + 1, 83000 * km, 0}},
			"82,900 | 83,000 | 83,000 | 83,200 | 83,400"},
		{"a replacement that never was", Distance, daily(km, 82900, 83000, 83100, 83200, 83300), []Replaced{{2*day + 1, 83000 * km, 12 * km}},
			"82,900 | 83,000 | 83,000 | 83,100 | 83,200"},
	} {
		unit := km
		if c.kind == Hours {
			unit = hour
		}
		if got := say(unit, Judge(c.readings, c.replaced, c.kind).Verdicts); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

// heaviest is the slow twin of longest: it tries every set of readings.
func heaviest(nodes []Reading, kind Kind) (best int) {
	for set := range 1 << len(nodes) {
		weight, last, ok := 0, -1, true
		for i := range nodes {
			if set>>i&1 == 0 {
				continue
			}
			ok = ok && kind.valid(nodes[i].Value) && (last < 0 || kind.follows(nodes[last], nodes[i]))
			weight, last = weight+nodes[i].votes(), i
		}
		if ok {
			best = max(best, weight)
		}
	}
	return best
}

func drawReadings(r *rapid.T, most int) []Reading {
	n := rapid.IntRange(0, most).Draw(r, "n")
	out := make([]Reading, n)
	at := int64(0)
	for i := range out {
		at += int64(rapid.IntRange(0, 3*day).Draw(r, "gap"))
		out[i] = Reading{At: at, Value: float64(rapid.IntRange(-1, 20).Draw(r, "value")) * 500 * km, Weight: uint8(rapid.IntRange(0, 1).Draw(r, "weight"))}
	}
	return out
}

func TestLongestIsHeaviest(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		nodes := drawReadings(r, 10)
		marks := longest(nodes, Distance, nil)
		weight, last := 0, -1
		for i, ok := range marks {
			if !ok {
				continue
			}
			if last >= 0 && !Distance.follows(nodes[last], nodes[i]) {
				r.Fatalf("%v does not follow %v", nodes[i], nodes[last])
			}
			weight, last = weight+nodes[i].votes(), i
		}
		if want := heaviest(nodes, Distance); weight != want {
			r.Fatalf("weight %d, heaviest %d", weight, want)
		}
	})
}

// What is accepted goes up in life value, whatever was replaced.
func TestLifeNeverDecreases(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		readings := drawReadings(r, 30)
		var replaced []Replaced
		for range rapid.IntRange(0, 4).Draw(r, "replaced") {
			replaced = append(replaced, Replaced{
				At:    rapid.Int64Range(0, 60*day).Draw(r, "at"),
				Last:  float64(rapid.IntRange(0, 20).Draw(r, "last")) * 500 * km,
				First: float64(rapid.IntRange(0, 20).Draw(r, "first")) * 500 * km,
			})
		}
		life := math.Inf(-1)
		got := Judge(readings, replaced, Distance)
		for i, b := range got.Backs {
			if b.High < 0 || b.Low <= b.High || b.Low >= len(readings) || readings[b.High].Value <= readings[b.Low].Value ||
				got.Verdicts[b.High].Accepted == got.Verdicts[b.Low].Accepted || b.Open && (i > 0 || got.Verdicts[b.Low].Accepted) {
				r.Fatalf("%+v of %v: %+v", b, readings, got)
			}
		}
		for i, v := range got.Verdicts {
			if v.Accepted && v.Life < life-1e-6 {
				r.Fatalf("reading %d: life %v after %v", i, v.Life, life)
			}
			if v.Accepted {
				life = v.Life
			}
			if v.Accepted != (v.Why == "") || v.Accepted && v.Meant != (Meant{}) {
				r.Fatalf("reading %d: %+v", i, v)
			}
		}
	})
}

// A chain in which each reading appends to the one before is accepted whole, and
// so is every part of it; that is what makes appending safe.
func TestAppendsIsSafe(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		kind := rapid.SampledFrom([]Kind{Distance, Hours}).Draw(r, "kind")
		speed, _ := kind.limits()
		last := Reading{Value: rapid.Float64Range(0, 1e9).Draw(r, "start")}
		ease := Ease(last)
		var part []Reading
		for range rapid.IntRange(0, 40).Draw(r, "n") {
			gap := rapid.Int64Range(0, rapid.SampledFrom([]int64{3, 200}).Draw(r, "days")*day).Draw(r, "gap")
			next := Reading{At: last.At + gap, Value: last.Value + speed*float64(gap)*rapid.Float64Range(0, 1.1).Draw(r, "pace")}
			if !Appends(last, next, ease, kind) {
				continue
			}
			ease = min(ease, Ease(next))
			if last = next; rapid.Bool().Draw(r, "kept") {
				part = append(part, next)
			}
		}
		for i, v := range Judge(part, nil, kind).Verdicts {
			if !v.Accepted {
				r.Fatalf("reading %d of %v: %+v", i, part, v)
			}
		}
	})
}

func TestAppends(t *testing.T) {
	a := Reading{At: 0, Value: 100 * km}
	for _, c := range []struct {
		b    Reading
		kind Kind
		want bool
	}{
		{Reading{At: 3600, Value: 230 * km}, Distance, true},
		{Reading{At: 100 * day, Value: 180_000 * km}, Distance, true},
		{Reading{At: 100 * day, Value: 180_101 * km}, Distance, false},
		{Reading{At: 3600, Value: 231 * km}, Distance, false},
		{Reading{At: 3600, Value: 100 * km}, Distance, true},
		{Reading{At: 3600, Value: 99.9 * km}, Distance, false},
		{Reading{At: -1, Value: 100 * km}, Distance, false},
		{Reading{At: 60, Value: 100*km + 60}, Hours, true},
		{Reading{At: 60, Value: 100*km + 61}, Hours, false},
	} {
		if got := Appends(a, c.b, Ease(a), c.kind); got != c.want {
			t.Errorf("%+v: got %v", c.b, got)
		}
	}
}
