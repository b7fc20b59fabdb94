package sheets

import (
	"maps"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
)

// The bench is of at least 25 causes, in engines of both fuels and in gearboxes, and of
// machines of which nothing is wrong.
func TestCauses(t *testing.T) {
	names, on := map[string]bool{}, map[string]int{}
	sound := 0
	for _, c := range Causes {
		if names[c.Name] {
			t.Errorf("%q stands twice", c.Name)
		}
		names[c.Name] = true
		for _, class := range slices.Concat(c.Right, c.Also, c.ThreeMetals) {
			if Classes[class] == "" {
				t.Errorf("%q: %q is no class", c.Name, class)
			}
		}
		switch {
		case c.Sound:
			sound++
		case c.Right == nil || c.add == nil || c.needs == nil:
			t.Errorf("%q says not what it is, does nothing, or needs no result to be seen", c.Name)
		default:
			for _, m := range c.in {
				on[m.name]++
			}
		}
	}
	if n := len(Causes) - sound; n < 25 || sound < 7 {
		t.Errorf("%d faults and %d sound causes", n, sound)
	}
	if got := slices.Sorted(maps.Keys(on)); !slices.Equal(got, []string{"diesel", "gearbox", "petrol", "petrol thin"}) {
		t.Errorf("faults of %v", got)
	}
}

// The same sheets come every time, and the first of many are those of few.
func TestSheetsAreFixed(t *testing.T) {
	few, many, again := All(2), All(5), All(5)
	for i := range many {
		a, b := many[i], again[i]
		if a.Number < 2 && !reflect.DeepEqual(a.Events, few[i/5*2+a.Number].Events) {
			t.Errorf("%s %d of two is another than of five", a.Cause.Name, a.Number)
		}
		if !reflect.DeepEqual(a.Events, b.Events) {
			t.Errorf("%s %d is another the second time", a.Cause.Name, a.Number)
		}
	}
}

// What each sheet needs is on it, and what was not measured is not.
func TestNeedsArePrinted(t *testing.T) {
	for _, s := range All(20) {
		words := strings.Fields(s.Events[len(s.Events)-1])
		three := len(s.Right) > len(s.Cause.Right)
		for _, a := range s.Cause.needs {
			if !three && !slices.Contains(words, a) {
				t.Errorf("%s %d has no %s: %v", s.Cause.Name, s.Number, a, words)
			}
		}
		for _, a := range s.Cause.hidden {
			if slices.Contains(words, a) {
				t.Errorf("%s %d has %s", s.Cause.Name, s.Number, a)
			}
		}
	}
}

// Ratios of what is mixed stay within what is published: SAE J726 and JIS Z 8901 for
// dusts, C93200's standard, the formula of borax (B/Na at most 0.94).
func TestRatiosArePublished(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for _, c := range []struct {
		name     string
		of       []part
		a, b     string
		from, to float64
	}{
		{"quartz dust", quartzDust, "Al", "Si", .164, .296},
		{"quartz dust", quartzDust, "K", "Si", .07, .09},
		{"volcanic loam", volcanicLoam, "Al", "Si", .74, 1.07},
		{"leaded bronze", leadedBronze, "Sn", "Cu", .063 / .85, .075 / .81},
		{"leaded bronze", leadedBronze, "Pb", "Cu", .06 / .85, .08 / .81},
		{"borate", borateCoolant, "B", "Na", 0, .94},
		{"sea salt", saltWater, "Mg", "Na", 0, .12},
	} {
		for range 200 {
			o := &oil{r: r, m: diesel, v: map[string]float64{}}
			o.mix(c.of, o.between(1, 300))
			if got := o.v[c.a] / o.v[c.b]; got < c.from-1e-12 || got > c.to+1e-12 {
				t.Fatalf("%s: %s/%s %.3f, want %.3f to %.3f", c.name, c.a, c.b, got, c.from, c.to)
			}
		}
	}
}

// An alloy's shares come to about all of it.
func TestAlloysAreWhole(t *testing.T) {
	for name, alloy := range map[string][]part{
		"gray iron": grayIron, "52100": bearingSteel, "8620": gearSteel, "C52100": tinBronze, "C93200": leadedBronze, "copper-lead": copperLead,
		"overlay": overlay, "SAE 783": aluminiumTin, "lead-free": leadFree, "4032": pistonAlloy, "A380": castAlloy, "chrome": chromePlate,
	} {
		sum := 0.0
		for _, p := range alloy {
			sum += (p.from + p.to) / 2
		}
		if sum < .93 || sum > 1.01 {
			t.Errorf("%s comes to %.3f", name, sum)
		}
	}
}

// Half of an old fluid and half fresh, run on, hold what the mixed age says: so the
// composer may draw such a fluid as one of that age.
func TestHalfDrainIsALine(t *testing.T) {
	for _, f := range gearbox.figures {
		const before, after = 1.3, .4
		left := (f.fresh+f.made*before)/2 + f.fresh/2 + f.made*after
		if mixed := f.fresh + f.made*(before/2+after); math.Abs(left-mixed) > 1e-9*(1+math.Abs(left)) {
			t.Errorf("%s: %g, by the mixed age %g", f.analyte, left, mixed)
		}
	}
}

// One laboratory's results of the same fluid scatter as its method lets them.
func TestScatterIsTheMethods(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	l := laboratory{bias: map[string]float64{}}
	const n, iron = 20000, 50.0
	far := 0
	one, _ := deviations("Fe", iron)
	limit := 2.77 * one
	for range n {
		if math.Abs(l.measured(r, "Fe", iron)-l.measured(r, "Fe", iron)) > limit {
			far++
		}
	}
	if share := float64(far) / n; share < .04 || share > .06 {
		t.Errorf("%.1f %% of pairs lie farther apart than the repeatability, want 5 %%", 100*share)
	}
}
