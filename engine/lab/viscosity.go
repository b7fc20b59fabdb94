package lab

import (
	"cmp"
	_ "embed" // for the tables
	"math"
	"slices"
	"strconv"
	"strings"
)

//go:embed astm_d2270.csv
var d2270Text string

//go:embed sae_j300.csv
var j300Text string

// viscosityRow is one line of the table of ASTM D2270: the viscosities at 40 degC of
// oils of index 0 (l) and 100 (h) that have viscosity y at 100 degC, in mm2/s.
type viscosityRow struct{ y, l, h float64 }

var d2270 = func() []viscosityRow {
	var rows []viscosityRow
	for _, cells := range table(d2270Text) {
		n := parse(cells)
		rows = append(rows, viscosityRow{n[0], n[1], n[2]})
	}
	return rows
}()

// ViscosityIndex returns the index by ASTM D2270 from the viscosities at 40 and
// 100 degC in mm2/s, rounded to a whole number, half to even. ok is false under
// 2 mm2/s at 100 degC, where it is not defined, and where the oil is not thinner
// at 100 degC.
func ViscosityIndex(kv40, kv100 float64) (vi float64, ok bool) {
	if !(kv100 >= 2) || !(kv40 > kv100) || math.IsInf(kv40, 1) {
		return 0, false
	}
	l, h := lAndH(kv100)
	if kv40 > h {
		return math.RoundToEven(100 * (l - kv40) / (l - h)), true
	}
	n := (float64(math.Log10(h)) - float64(math.Log10(kv40))) / math.Log10(kv100)
	return math.RoundToEven((math.Pow(10, n)-1)/0.00715 + 100), true
}

func lAndH(y float64) (l, h float64) {
	if y >= d2270[len(d2270)-1].y {
		square := float64(y * y)
		return float64(.8353*square) + float64(14.67*y) - 216, float64(.1684*square) + float64(11.85*y) - 97
	}
	i, exact := slices.BinarySearchFunc(d2270, y, func(r viscosityRow, y float64) int { return cmp.Compare(r.y, y) })
	if exact {
		return d2270[i].l, d2270[i].h
	}
	a, b := d2270[i-1], d2270[i]
	part := (y - a.y) / (b.y - a.y)
	return a.l + float64(part*(b.l-a.l)), a.h + float64(part*(b.h-a.h))
}

// Grade is a band of viscosity.
type Grade struct {
	Name    string  // "SAE 5W-30", "ISO VG 46"
	Analyte string  // "KV100" or "KV40"
	Min     float64 // mm2/s
	Max     float64 // mm2/s; +Inf where the grade has none
	open    bool    // Max itself is outside
}

// engineGrades are those of SAE J300 by their number; isoGrades the midpoints of ISO 3448 at
// 40 degC, the limits 10 % to either side. The midpoints are from memory; VG 32
// (28.8 to 35.2) was seen.
var (
	engineGrades = func() map[string]Grade {
		m := map[string]Grade{}
		for _, row := range table(j300Text) {
			n := parse(row[1:])
			if math.IsNaN(n[1]) {
				n[1] = math.Inf(1)
			}
			m[row[0]] = Grade{"SAE " + row[0], "KV100", n[0], n[1], true}
		}
		return m
	}()
	isoGrades = []float64{2.2, 3.2, 4.6, 6.8, 10, 15, 22, 32, 46, 68, 100, 150, 220, 320, 460, 680, 1000, 1500, 2200, 3200}
)

// GradeNamed returns the grade written "SAE 30", "5W-30", "SAE 10W", "ISO VG 46"
// or "VG 46". Of a winter grade with a summer one the summer one's band holds,
// raised to the winter grade's minimum.
func GradeNamed(name string) (g Grade, ok bool) {
	words := strings.Fields(strings.ToUpper(name))
	if len(words) == 0 {
		return Grade{}, false
	}
	number := words[len(words)-1]
	switch strings.Join(words[:len(words)-1], " ") {
	case "ISO VG", "VG", "ISO":
		mid, err := strconv.ParseFloat(number, 64)
		if err != nil || !slices.Contains(isoGrades, mid) {
			return Grade{}, false
		}
		return isoGrade(mid), true
	case "SAE", "":
		return engineGrade(number)
	}
	return Grade{}, false
}

// GradeIn finds a grade in the name of a fluid, such as "15W-40" or "hydraulic VG 46".
func GradeIn(fluid string) (g Grade, ok bool) {
	words := strings.Fields(fluid)
	for i := range words {
		if g, ok = GradeNamed(strings.Join(words[i:], " ")); ok {
			return g, true
		}
	}
	return Grade{}, false
}

func isoGrade(mid float64) Grade {
	return Grade{"ISO VG " + strconv.FormatFloat(mid, 'f', -1, 64), "KV40", mid * 0.9, mid * 1.1, false}
}

func engineGrade(number string) (Grade, bool) {
	winter, summer, both := strings.Cut(number, "-")
	g, ok := engineGrades[winter]
	if !both || !ok {
		return g, ok
	}
	s, ok := engineGrades[summer]
	if !ok || !strings.HasSuffix(winter, "W") || strings.HasSuffix(summer, "W") {
		return Grade{}, false
	}
	return Grade{"SAE " + number, "KV100", math.Max(g.Min, s.Min), s.Max, true}, true
}

// GradesOf returns the grades whose band holds the value, thinnest first: of SAE J300 for KV100
// (winter grades left out; its thin grades overlap), of ISO 3448 for KV40.
func GradesOf(analyte string, value float64) []Grade {
	var out []Grade
	add := func(g Grade) {
		if _, in := g.Out(value); in {
			out = append(out, g)
		}
	}
	switch analyte {
	case "KV100":
		for _, n := range []string{"8", "12", "16", "20", "30", "40", "50", "60"} {
			add(engineGrades[n])
		}
	case "KV40":
		for _, mid := range isoGrades {
			add(isoGrade(mid))
		}
	}
	return out
}

// OutOfGrade is by how much the sample's viscosity lies outside the named grade
// ([Grade.Out]), in mm2/s.
func (s Sheet) OutOfGrade(name string) (v float64, why string, ok bool) {
	g, ok := GradeNamed(name)
	if !ok {
		return 0, "a grade called " + name, false
	}
	var m missing
	v, _ = g.Out(m.in(s.Value(g.Analyte)))
	return m.answer(v)
}

// justOutside is what a viscosity at the open end of a grade lies outside it, mm2/s: the
// last figure that ASTM D445 reports.
const justOutside = 0.001

// OutOfFluidGrade is by how much the sample's viscosity lies outside the grade in the name
// of the fluid that it should be, in mm2/s: [Grade.Out], and 0.001 at an open end.
func (s Sheet) OutOfFluidGrade(fluid string) (v float64, why string, ok bool) {
	g, ok := GradeIn(fluid)
	if !ok {
		return 0, "a grade of viscosity in the fluid's name", false
	}
	var m missing
	v, in := g.Out(m.in(s.Value(g.Analyte)))
	if v == 0 && !in {
		v = justOutside
	}
	return m.answer(v)
}

// viscosities are those at 40 and 100 degC.
func (s Sheet) viscosities(m *missing) (kv40, kv100 float64) {
	if kv40 = m.in(s.Value("KV40")); *m == "" {
		kv100 = m.in(s.Value("KV100"))
	}
	return kv40, kv100
}

// ViscosityIndex is [ViscosityIndex] of the sample.
func (s Sheet) ViscosityIndex() (v float64, why string, ok bool) {
	var m missing
	kv40, kv100 := s.viscosities(&m)
	v, ok = ViscosityIndex(kv40, kv100)
	m.unless(ok, "viscosities that have an index")
	return m.answer(v)
}

// Out returns by how much (mm2/s) the value lies outside the grade: negative when
// too thin, positive when too thick; in reports whether it lies inside. The two
// differ at an open upper end, which is 0 away and outside.
func (g Grade) Out(value float64) (amount float64, in bool) {
	switch {
	case value < g.Min && !atLeast(value, g.Min):
		return value - g.Min, false
	case g.open && value >= g.Max:
		return value - g.Max, false
	case !g.open && value > g.Max && !atLeast(g.Max, value):
		return value - g.Max, false
	case value != value:
		return value, false
	}
	return 0, true
}
