package meter

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/rules/unit"
)

// sayBacks writes where readings go back: from the higher to the lower value.
func sayBacks(readings []Reading, backs []Back) string {
	var out []string
	for _, b := range backs {
		s := unit.Grouped(readings[b.High].Value/km) + " to " + unit.Grouped(readings[b.Low].Value/km)
		if b.Open {
			s += ", open"
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

// longPast is a vehicle of which 81,000 km were read, and then miles as kilometres.
func longPast() (out []Reading) {
	for i, v := range []float64{40000, 45000, 50000, 60000, 70000, 80000, 81000, 50340, 50400, 50500, 50600, 50700} {
		out = append(out, Reading{At: int64(100*min(i, 6)+i) * day, Value: v * km})
	}
	return out
}

func TestBacks(t *testing.T) {
	for _, c := range []struct {
		name     string
		readings []Reading
		replaced []Replaced
		want     string
	}{
		{"all fit", daily(km, 81000, 81200, 81200, 81500), nil, ""},
		{"one lower reading", daily(km, 81000, 81200, 50580), nil, "81,200 to 50,580, open"},
		{"refuted by the next", daily(km, 81000, 81200, 50580, 81600), nil, "81,200 to 50,580"},
		{"one more of what was refuted", daily(km, 81000, 81200, 50580, 81600, 50800), nil, "81,600 to 50,800; 81,200 to 50,580"},
		{"another after what was refuted", daily(km, 81000, 81200, 50580, 81600, 12), nil, "81,600 to 12, open; 81,200 to 50,580"},
		{"an instrument that was replaced, and nobody said so", daily(km, 81000, 81200, 12, 230, 410, 700, 900), nil, "81,200 to 12, open"},
		{"miles sent as kilometres by a vehicle with a long past", longPast(), nil, "81,000 to 50,340, open"},
		{"one that was too high, and two that agree", daily(km, 244700, 246500, 245000, 245300), nil, "246,500 to 245,000"},
		{"one that was too high, and one after it", daily(km, 244700, 246500, 245000), nil, "246,500 to 245,000, open"},
		{"the first of all was too high", daily(km, 254001, 245300, 245600, 245900), nil, "254,001 to 245,300, open"},
		{"too fast to have been, and no going back", daily(km, 81000, 813001, 81600), nil, ""},
		{"whole units after decimals", daily(km, 81000.4, 81000, 81100), nil, ""},
		{"read a little wrong", daily(km, 81000, 81100, 81020), nil, ""},
		{"an earlier instrument", daily(km, 81000, 81200, 50580, 12, 212), []Replaced{{3*day + 1, 81300 * km, 12 * km}}, ""},
		{"by somebody's word", daily(km, 81000, 81200, 12, 212), []Replaced{{3 * day, math.NaN(), math.NaN()}}, ""},
	} {
		if got := sayBacks(c.readings, Judge(c.readings, c.replaced, Distance).Backs); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
	}
}

func TestDoubted(t *testing.T) {
	for _, c := range []struct {
		name        string
		readings    []Reading
		last, first float64
		want        string
	}{
		{"both fit", daily(km, 82900, 112), 83000, 12, ""},
		{"a digit lost", daily(km, 82900, 112), 8300, 12, "last: going back; a digit is missing: 83,000 km would fit"},
		{"a digit added", daily(km, 82900, 112), 830_000, 12, "last: implausible; a digit too many: 83,000 km would fit"},
		{"the new one began higher than it reads", daily(km, 82900, 112), 83000, 12000, "first: implausible"},
		{"nothing was read", nil, 83000, 12, ""},
	} {
		var got []string
		for _, d := range Judge(c.readings, []Replaced{{day * 3 / 2, c.last * km, c.first * km}}, Distance).Doubted {
			s := map[bool]string{false: "last: ", true: "first: "}[d.First] + d.Why
			if d.Meant.Slip != "" {
				s += "; " + d.Meant.Words(shown(km))
			}
			got = append(got, s)
		}
		if s := strings.Join(got, ", "); s != c.want {
			t.Errorf("%s: got %q, want %q", c.name, s, c.want)
		}
	}
}

// However many lower readings come, what an instrument showed before stays accepted, and
// where it went back stays as it is, until somebody says that it was replaced.
func TestLowerReadingsProveNothing(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		var readings []Reading
		at, value := int64(0), 80_000.0
		for range rapid.IntRange(2, 30).Draw(r, "before") {
			at, value = at+int64(rapid.IntRange(day/4, 3*day).Draw(r, "gap")), value+float64(rapid.IntRange(0, 400).Draw(r, "run"))
			readings = append(readings, Reading{At: at, Value: value * km, Weight: uint8(rapid.IntRange(0, 1).Draw(r, "weight"))})
		}
		before := len(readings)
		value = float64(rapid.IntRange(0, 79_000).Draw(r, "from"))
		for range rapid.IntRange(1, 35).Draw(r, "after") {
			at, value = at+int64(rapid.IntRange(day, 3*day).Draw(r, "gap")), value+float64(rapid.IntRange(0, 20).Draw(r, "run"))
			readings = append(readings, Reading{At: at, Value: value * km, Weight: uint8(rapid.IntRange(0, 1).Draw(r, "weight"))})
		}
		got := Judge(readings, nil, Distance)
		for i, v := range got.Verdicts {
			if v.Accepted != (i < before) {
				r.Fatalf("reading %d of %v: %+v", i, readings, v)
			}
		}
		if s, want := fmt.Sprint(got.Backs), fmt.Sprint([]Back{{High: before - 1, Low: before, Open: true}}); s != want {
			r.Fatalf("%s, want %s: %v", s, want, readings)
		}
		cut := Judge(readings, []Replaced{{readings[before].At, math.NaN(), math.NaN()}}, Distance)
		for i, v := range cut.Verdicts {
			if !v.Accepted || i > 0 && v.Life < cut.Verdicts[i-1].Life {
				r.Fatalf("by somebody's word, reading %d of %v: %+v", i, readings, v)
			}
		}
	})
}
