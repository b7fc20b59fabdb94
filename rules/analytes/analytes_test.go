package analytes

import (
	"slices"
	"strings"
	"testing"

	"telltale/rules/unit"
)

// elements are the symbols in order of atomic number (IUPAC periodic table).
var elements = strings.Fields(`H He Li Be B C N O F Ne Na Mg Al Si P S Cl Ar K Ca Sc Ti V Cr Mn Fe Co Ni Cu Zn Ga Ge As Se Br Kr
Rb Sr Y Zr Nb Mo Tc Ru Rh Pd Ag Cd In Sn Sb Te I Xe Cs Ba La Ce Pr Nd Pm Sm Eu Gd Tb Dy Ho Er Tm Yb Lu Hf Ta W Re Os Ir Pt Au
Hg Tl Pb Bi Po At Rn Fr Ra Ac Th Pa U Np Pu Am Cm Bk Cf Es Fm Md No Lr Rf Db Sg Bh Hs Mt Ds Rg Cn Nh Fl Mc Lv Ts Og`)

func TestElements(t *testing.T) {
	for _, symbol := range elements {
		if a, ok := Of(symbol); !ok || a.Kind != unit.Concentration || a.Unit != "mg/kg" {
			t.Errorf("%s: %+v, %v", symbol, a, ok)
		}
	}
	if len(Names()) != len(elements)+21 {
		t.Errorf("%d analytes", len(Names()))
	}
}

// Each row says all that there is to say, and nothing is said twice.
func TestTable(t *testing.T) {
	if !slices.IsSorted(Names()) || len(slices.Compact(Names())) != len(Names()) {
		t.Error("the names are not sorted, or one stands twice")
	}
	titles := map[string]bool{}
	var wear []string
	for _, name := range Names() {
		a, ok := Of(name)
		if !ok || a.Name != name || a.Title == "" || titles[a.Title] || a.Title != strings.TrimSpace(a.Title) {
			t.Errorf("%s: %+v", name, a)
		}
		titles[a.Title] = true
		if k, ok := unit.Of(a.Unit); !ok || k != a.Kind {
			t.Errorf("%s is %s, and in %q", name, a.Kind, a.Unit)
		}
		if found, ok := Find(a.Title); !ok || found != a {
			t.Errorf("%q finds %+v", a.Title, found)
		}
		if a.Wear {
			wear = append(wear, name)
		}
		if a.Wear && a.Kind != unit.Concentration {
			t.Errorf("%s is a wear metal and %s", a.Name, a.Kind)
		}
	}
	// The first nine are of the US DoD JOAP manuals; V, Cd and Mn are common practice, no source.
	if want := slices.Sorted(slices.Values(strings.Fields("Fe Ag Al Cr Cu Ni Pb Sn Ti V Cd Mn"))); !slices.Equal(wear, want) {
		t.Errorf("wear metals: %v, want %v", wear, want)
	}
}

func TestFind(t *testing.T) {
	for name, want := range map[string]string{"Cu": "Cu", "Copper": "Cu", "ALUMINUM": "Al", "sulphur": "S", "co": "", "CO": "", "Co": "Co",
		"base number": "TBN", "Total base number": "TBN", "Viscosity at 40 degC": "KV40", "viscosity at 100 °C": "KV100", "Mercury": "Hg",
		"particles above 4 um": "particles4", "": ""} {
		if a, ok := Find(name); a.Name != want || ok != (want != "") {
			t.Errorf("Find(%q) = %q, %v", name, a.Name, ok)
		}
	}
	if Known("Copper") || !Known("KV100") {
		t.Error("Known takes names only")
	}
}

func TestSaid(t *testing.T) {
	for _, c := range []struct{ got, want string }{
		{Named("Cu"), "copper (Cu)"}, {Named("TAN"), "acid number (TAN)"}, {Named("water"), "water"}, {Named("Xx"), "Xx"},
		{UnitOf("Fe"), "mg/kg"}, {UnitOf("KV100"), "mm2/s"}, {UnitOf("ferrous"), ""}, {UnitOf("Xx"), ""}, {UnitOf("fe"), ""},
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	if Known("Xx") || Known("fe") {
		t.Error("unknown names are known")
	}
}
