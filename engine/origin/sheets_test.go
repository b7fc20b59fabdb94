package origin

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"telltale/engine/lab"
)

// usual is what a healthy engine has made by the age of its oil, mg/kg; invented.
var usual = map[string]float64{"Fe": 25, "Cr": 2, "Ni": 1, "Al": 5, "Pb": 4, "Cu": 8, "Sn": 2, "Ti": 1, "Si": 8, "Na": 4, "K": 3, "B": 5, "Mn": 1, "Mo": 5, "Mg": 20, "Ca": 2000, "P": 900, "Zn": 1000}

// causes are sheets of a known cause: the sources, and mg/kg of the chief element of each.
var causes = []struct {
	name string
	of   []string
	made []float64
}{
	{"dust", []string{"quartz dust"}, []float64{60}},
	{"dust and steel", []string{"quartz dust", "bearing steel"}, []float64{60, 60}},
	{"dust and rings", []string{"quartz dust", "chrome plate", "grey iron"}, []float64{60, 20, 100}},
	{"loam", []string{"volcanic dust"}, []float64{50}},
	{"sealant", []string{"silicone"}, []float64{80}},
	{"sealant and aluminium", []string{"silicone", "casting aluminium"}, []float64{80, 40}},
	{"bearing steel", []string{"bearing steel"}, []float64{150}},
	{"gears", []string{"gear steel"}, []float64{200}},
	{"cylinders", []string{"grey iron"}, []float64{150}},
	{"bronze", []string{"tin bronze"}, []float64{120}},
	{"leaded bronze", []string{"leaded bronze"}, []float64{150}},
	{"cooler", []string{"copper of a cooler"}, []float64{150}},
	{"copper-lead shells", []string{"copper-lead shell"}, []float64{100}},
	{"overlay", []string{"lead overlay"}, []float64{60}},
	{"overlay and shell", []string{"lead overlay", "copper-lead shell"}, []float64{60, 60}},
	{"aluminium-tin shells", []string{"aluminium-tin shell"}, []float64{60}},
	{"castings", []string{"casting aluminium"}, []float64{80}},
	{"pistons", []string{"piston aluminium"}, []float64{60}},
	{"pistons and rings", []string{"piston aluminium", "grey iron"}, []float64{60, 100}},
	{"sodium coolant", []string{"sodium coolant"}, []float64{120}},
	{"potassium coolant", []string{"potassium coolant"}, []float64{100}},
	{"mixed coolant", []string{"mixed coolant"}, []float64{100}},
	{"coolant and shells", []string{"sodium coolant", "copper-lead shell"}, []float64{120, 80}},
	{"salt", []string{"salt"}, []float64{80}},
}

// additives are in the fresh fluid, and vary less.
var additives = map[string]bool{"Ca": true, "P": true, "Zn": true, "Mg": true, "B": true, "Mo": true}

func named(name string) *Profile {
	i := slices.IndexFunc(profiles, func(p Profile) bool { return p.Name == name })
	return &profiles[i]
}

// composed are the excesses of a sheet: shares from anywhere within their ranges, as much
// of each source as is given or a third more or less, and scatter by the method and by
// what is usual.
func composed(r *rand.Rand, of []string, made []float64) (out []Excess) {
	truth := map[string]float64{}
	for i, name := range of {
		p := named(name)
		chief := slices.MaxFunc(p.Shares, func(a, b Share) int { return cmp.Compare(a.mean(), b.mean()) })
		amount := made[i] * math.Exp(0.3*r.NormFloat64()) / chief.mean()
		for _, s := range p.Shares {
			truth[s.Analyte] += amount * (s.Least + (s.Most-s.Least)*r.Float64()) / 100
		}
	}
	for _, a := range slices.Sorted(maps.Keys(usual)) {
		spread := 0.3 * usual[a]
		if additives[a] {
			spread = 0.07 * usual[a]
		}
		value := usual[a] + spread*r.NormFloat64() + truth[a]
		method := lab.PrecisionOf(a).Limit(value, false) / math.Sqrt2
		value = math.Max(0, math.Round(value+method/normal95*r.NormFloat64()))
		method = lab.PrecisionOf(a).Limit(math.Max(value, usual[a]), false) / math.Sqrt2
		out = append(out, Excess{Analyte: a, Value: value - usual[a], Error: math.Hypot(method, normal95*spread)})
	}
	return out
}

// verdict holds a reading to what was there: "right" names each source by its family,
// "with others" says that some part may be of another family too, "in part" leaves one
// out, "wrong" has a part of which no choice was there, "silent" names none.
func verdict(r *Reading, of []string) string {
	if r == nil || len(r.Parts) == 0 {
		return "silent"
	}
	there, found, others := map[string]bool{}, map[string]bool{}, false
	for _, name := range of {
		there[named(name).Family] = true
	}
	for _, p := range r.Parts {
		hit := false
		for _, m := range p.Mixes {
			all := !slices.ContainsFunc(m, func(a Amount) bool { return !there[a.Family] })
			for _, a := range m {
				found[a.Family] = found[a.Family] || all
			}
			hit, others = hit || all, others || !all
		}
		if !hit {
			return "wrong"
		}
	}
	named := 0
	for family := range there {
		if found[family] {
			named++
		}
	}
	switch {
	case named < len(there):
		return "in part"
	case others:
		return "with others"
	}
	return "right"
}

// Sheets of known cause, composed from the profiles, are read right, and hardly one wrong.
func TestSheets(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 6))
	const each = 40
	total := map[string]int{}
	for _, c := range causes {
		count := map[string]int{}
		for range each {
			s := composed(r, c.of, c.made)
			got := Of(s)
			v := verdict(got, c.of)
			count[v]++
			total[v]++
			if v == "wrong" {
				t.Logf("wrong, %s: %s", c.name, told(got))
			}
		}
		t.Logf("%-22s %v", c.name, count)
	}
	n := each * len(causes)
	t.Logf("%d sheets: %v", n, total)
	if 100*total["right"] < 75*n || 100*total["wrong"] > 2*n {
		t.Errorf("of %d sheets %v: want 75 of 100 right, no more than 2 wrong", n, total)
	}
}

// Of a healthy sheet some element or other is always beyond its error; that is seldom
// taken for a source.
func TestHealthySheets(t *testing.T) {
	r := rand.New(rand.NewPCG(14, 7))
	beyond, named := 0, 0
	for range 400 {
		if got := Of(composed(r, nil, nil)); got != nil {
			beyond++
			if len(got.Parts) > 0 {
				named++
			}
		}
	}
	t.Logf("of 400 healthy sheets %d have something beyond its error, %d name a source", beyond, named)
	if named > 12 {
		t.Errorf("%d of 400 healthy sheets name a source", named)
	}
}

// told is a reading in short.
func told(r *Reading) string {
	var parts []string
	for _, p := range r.Parts {
		var mixes []string
		for _, m := range p.Mixes {
			var all []string
			for _, a := range m {
				all = append(all, fmt.Sprintf("%s %.3g ± %.2g", a.Source, a.Amount, a.Error))
			}
			mixes = append(mixes, strings.Join(all, " with "))
		}
		parts = append(parts, fmt.Sprintf("%s %.3g: %s", p.Analyte, p.Value, strings.Join(mixes, " or ")))
	}
	for _, b := range r.Beyond {
		parts = append(parts, fmt.Sprintf("beyond %s %.3g", b.Analyte, b.Value))
	}
	return fmt.Sprintf("%s (R² %.2f)", strings.Join(parts, "; "), r.Explained)
}
