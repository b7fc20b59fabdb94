package lab

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Invented fluids: an engine oil, one of another additive, a gearbox fluid.
var (
	inventedOil     = map[string]float64{"P": 850, "Ca": 2100, "Zn": 950, "Mg": 15, "B": 2, "Mo": 60, "KV100": 14}
	inventedOther   = map[string]float64{"P": 700, "Ca": 1100, "Zn": 800, "Mg": 750, "B": 180, "Mo": 60, "KV100": 11}
	inventedGearbox = map[string]float64{"P": 290, "Ca": 130, "Zn": 4, "Mg": 2, "B": 90, "Mo": 0, "KV100": 7}
)

func sheetOf(holds map[string]float64) Sheet {
	var rs []Result
	for _, a := range fluidMarks {
		if v, ok := holds[a]; ok {
			rs = append(rs, Result{Analyte: a, Value: v})
		}
	}
	return Sheet{History: History{{Results: rs}}}
}

func TestNearestFluid(t *testing.T) {
	swapped := sheetOf(map[string]float64{"P": 300, "Ca": 125, "Zn": 6, "B": 80, "KV100": 6.6})
	n, ok := swapped.NearerTo(inventedOil, inventedGearbox)
	if !ok || !n.Clearly() || !slices.Equal(n.Marks, []string{"P", "Ca", "Zn", "B", "KV100"}) {
		t.Errorf("the gearbox's fluid in the engine's bottle: %+v, %v", n, ok)
	}
	// Phosphorus, zinc and boron of an oil in use fall, and it is still this oil.
	used := sheetOf(map[string]float64{"P": 640, "Ca": 1950, "Zn": 720, "Mg": 14, "B": 0, "Mo": 45, "KV100": 12.6})
	for _, other := range []map[string]float64{inventedOther, inventedGearbox} {
		if n, ok := used.NearerTo(inventedOil, other); !ok || n.Clearly() {
			t.Errorf("an oil in use is taken for another: %+v, %v", n, ok)
		}
	}
	if _, why, ok := sheetOf(map[string]float64{"P": 1, "Ca": 2}).FluidDistance(inventedOil); ok || why != "three of P, Ca, Zn, Mg, B, Mo, KV100 in the sample and in its fresh fluid" {
		t.Errorf("by two marks: %q, %v", why, ok)
	}
	// One mark that is out by what two laboratories may differ by, of phosphorus
	// 4.3 √850 (ASTM D5185, from memory), is 1 apart; over three marks 1/√3.
	three := sheetOf(map[string]float64{"P": 850 + 4.3*math.Sqrt(850), "Ca": 2100, "Zn": 950})
	if d, _, _ := three.FluidDistance(inventedOil); math.Abs(d-1/math.Sqrt(3)) > 1e-9 {
		t.Errorf("one mark by the method's error: %v", d)
	}
}

func drawFluid(t *rapid.T, name string) map[string]float64 {
	out := map[string]float64{}
	for _, a := range fluidMarks {
		out[a] = float64(rapid.IntRange(0, 3000).Draw(t, name+" "+a))
	}
	out["KV100"] = float64(rapid.IntRange(30, 300).Draw(t, name+" viscosity")) / 10
	return out
}

// A fluid is its own nearest; half of it and half of another lies no farther from either
// than that one, and what is clearly nearer is so from one side only.
func TestFluidDistances(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawFluid(t, "a"), drawFluid(t, "b")
		half := map[string]float64{}
		for _, m := range fluidMarks {
			half[m] = (a[m] + b[m]) / 2
		}
		to := func(s Sheet, f map[string]float64) float64 {
			d, why, ok := s.FluidDistance(f)
			if !ok || math.IsNaN(d) || math.IsInf(d, 0) {
				t.Fatalf("%v %s", d, why)
			}
			return d
		}
		if d := to(sheetOf(a), a); d != 0 {
			t.Fatalf("a fluid is %v from itself", d)
		}
		if to(sheetOf(half), a) > to(sheetOf(b), a) || to(sheetOf(half), b) > to(sheetOf(a), b) {
			t.Fatalf("half and half of %v and %v does not lie between", a, b)
		}
		if n, _ := sheetOf(half).NearerTo(a, b); n.Clearly() {
			if back, _ := sheetOf(half).NearerTo(b, a); back.Clearly() {
				t.Fatal("each is clearly nearer than the other")
			}
		}
		if n, _ := sheetOf(a).NearerTo(a, b); n.Clearly() {
			t.Fatal("another fluid is nearer than itself")
		}
	})
}
