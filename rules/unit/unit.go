// Package unit knows the units that events and rule files may use, and turns
// quantities into the base units in which everything inside is reckoned:
// metres, seconds, months or days (by the calendar), litres, mg/kg, newton-metres,
// kilopascals; what is measured of parts in millimetres, volts, ampere-hours, newtons.
//
// Factors: mile 1609.344 m exactly (NIST SP 811), US gallon 3.785411784 L and
// US quart 0.946352946 L exactly (NIST Handbook 44 App. C), degC = (F-32)/1.8.
// A pound-force is 4.4482216152605 N exactly, a foot 0.3048 m, an inch 0.0254 m (NIST SP 811).
package unit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Mile is in metres, exactly (NIST SP 811).
const Mile = 1609.344

// Kind says what a unit measures; quantities of one kind can be compared.
type Kind uint8

// The kinds, each with its base unit.
const (
	None          Kind = iota
	Distance           // metres
	Time               // seconds: running hours, or a span of elapsed time
	Days               // calendar days
	Months             // calendar months
	Volume             // litres
	Concentration      // mg/kg, the same as ppm by mass
	Percent            // % (of mass or of volume as the laboratory states); of mass, 1 % is 10,000 mg/kg
	MassVolume         // mg/L: needs a density to become mg/kg
	Density            // g/mL
	Viscosity          // mm2/s
	BaseNumber         // mgKOH/g (TBN and TAN)
	Temperature        // degC
	Absorbance         // abs/cm
	Count              // 1/mL
	Index              // a bare number
	Torque             // newton-metres
	Pressure           // kilopascals
	Length             // millimetres, of parts; a distance is what a vehicle runs
	Voltage            // volts
	Charge             // ampere-hours
	Force              // newtons
)

var kindNames = [...]string{
	None: "nothing", Distance: "a distance", Time: "hours", Days: "days", Months: "months", Volume: "a volume",
	Concentration: "a concentration", Percent: "a share", MassVolume: "mass per volume", Density: "a density",
	Viscosity: "a viscosity", BaseNumber: "mgKOH/g", Temperature: "a temperature", Absorbance: "an absorbance",
	Count: "a count", Index: "a bare number", Torque: "a torque", Pressure: "a pressure",
	Length: "a length", Voltage: "a voltage", Charge: "a charge", Force: "a force",
}

// String names the kind as an error text would: "a distance", "a volume".
func (k Kind) String() string { return kindNames[k] }

type def struct {
	name   string
	kind   Kind
	factor float64
	offset float64 // added before the factor; degF only
}

// poundForce is in newtons, exactly.
const poundForce = 4.4482216152605

// psi is a pound-force per square inch, in kilopascals.
const psi = poundForce / 0.0254 / 0.0254 / 1000

var defs = []def{
	{"km", Distance, 1000, 0}, {"mi", Distance, Mile, 0}, {"m", Distance, 1, 0},
	{"h", Time, 3600, 0}, {"min", Time, 60, 0}, {"s", Time, 1, 0},
	{"days", Days, 1, 0}, {"d", Days, 1, 0}, {"day", Days, 1, 0}, {"weeks", Days, 7, 0}, {"week", Days, 7, 0},
	{"months", Months, 1, 0}, {"month", Months, 1, 0}, {"years", Months, 12, 0}, {"year", Months, 12, 0},
	{"L", Volume, 1, 0}, {"mL", Volume, 0.001, 0}, {"qt", Volume, 0.946352946, 0}, {"gal", Volume, 3.785411784, 0},
	{"mg/kg", Concentration, 1, 0}, {"ppm", Concentration, 1, 0},
	{"%", Percent, 1, 0}, {"mg/L", MassVolume, 1, 0}, {"g/mL", Density, 1, 0},
	{"mm2/s", Viscosity, 1, 0}, {"cSt", Viscosity, 1, 0}, {"mgKOH/g", BaseNumber, 1, 0},
	{"degC", Temperature, 1, 0}, {"degF", Temperature, 1 / 1.8, -32},
	{"kPa", Pressure, 1, 0}, {"bar", Pressure, 100, 0}, {"psi", Pressure, psi, 0},
	{"mm", Length, 1, 0}, {"cm", Length, 10, 0}, {"in", Length, 25.4, 0}, {"V", Voltage, 1, 0}, {"Ah", Charge, 1, 0}, {"N", Force, 1, 0}, {"lbf", Force, poundForce, 0},
	{"N m", Torque, 1, 0}, {"lbf ft", Torque, 0.3048 * poundForce, 0}, {"lbf in", Torque, 0.0254 * poundForce, 0},
	{"abs/cm", Absorbance, 1, 0}, {"1/mL", Count, 1, 0}, {"index", Index, 1, 0}, {"", Index, 1, 0},
}

var byName = func() map[string]def {
	m := make(map[string]def, len(defs))
	for _, d := range defs {
		m[d.name] = d
	}
	return m
}()

// Of returns what the unit measures; ok is false where no such unit is known.
func Of(name string) (k Kind, ok bool) {
	d, ok := byName[name]
	return d.kind, ok
}

// Names lists the known units of the given kinds (of all where none is given),
// for error texts that name the cure.
func Names(kinds ...Kind) []string {
	var out []string
	for _, d := range defs {
		if d.name != "" && (len(kinds) == 0 || slices.Contains(kinds, d.kind)) {
			out = append(out, d.name)
		}
	}
	return out
}

// Base converts v in the named unit to the kind's base unit.
func Base(v float64, name string) (float64, Kind, error) {
	d, ok := byName[name]
	if !ok {
		return 0, None, fmt.Errorf("unknown unit %q", name)
	}
	return (v + d.offset) * d.factor, d.kind, nil
}

// From converts v in the base unit of the named unit's kind to that unit.
// An unknown unit gives NaN.
func From(v float64, name string) float64 {
	d, ok := byName[name]
	if !ok {
		return math.NaN()
	}
	return v/d.factor - d.offset
}

// Quantity is a number with its unit as reported: {"value": 4.0, "unit": "L"}.
type Quantity struct {
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
}

// Base converts the quantity to its kind's base unit.
func (q Quantity) Base() (float64, Kind, error) { return Base(q.Value, q.Unit) }

// As converts the quantity to the base unit of the kind wanted.
func (q Quantity) As(want Kind) (float64, error) {
	v, k, err := q.Base()
	if err != nil {
		return 0, err
	}
	if k != want {
		return 0, fmt.Errorf("%s is %s, wanted %s (%s)", q, k, want, strings.Join(Names(want), ", "))
	}
	return v, nil
}

// String gives the quantity as people write it: "45000 km". Numbers that nobody
// would write out have an exponent.
func (q Quantity) String() string {
	form := byte('f')
	if a := math.Abs(q.Value); a >= 1e21 || a > 0 && a < 1e-9 {
		form = 'e'
	}
	s := strconv.FormatFloat(q.Value, form, -1, 64)
	if q.Unit == "" {
		return s
	}
	return s + " " + q.Unit
}

// Grouped writes v as the nearest whole number with commas between thousands, as
// people read meters: "45,000".
func Grouped(v float64) string {
	s := strconv.FormatFloat(math.Round(math.Abs(v)), 'f', 0, 64)
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if math.Round(v) < 0 {
		s = "-" + s
	}
	return s
}

// Parse reads "45000 km", "10%", "36 months". The number is plain decimal with
// a point; a space before the unit may be left out.
func Parse(s string) (Quantity, error) {
	s = strings.TrimSpace(s)
	i := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("0123456789.+-", r) })
	if i < 0 {
		i = len(s)
	}
	v, err := strconv.ParseFloat(s[:i], 64)
	if err != nil {
		return Quantity{}, fmt.Errorf("%q is not a number with a unit, like \"45000 km\"", s)
	}
	u := strings.TrimSpace(s[i:])
	if strings.HasPrefix(u, ",") {
		return Quantity{}, fmt.Errorf("%q has a comma, write numbers like \"45000 km\" and \"4.5 L\"", s)
	}
	if _, ok := byName[u]; !ok {
		return Quantity{}, fmt.Errorf("unknown unit %q in %q", u, s)
	}
	return Quantity{Value: v, Unit: u}, nil
}

// torqueUnits are the units of torque with their full names, which keep pound-force
// inches and pound-force feet, twelve times as much, from being taken for one another.
var torqueUnits = []struct{ name, one, many string }{
	{"N m", "newton-metre", "newton-metres"},
	{"lbf ft", "pound-force foot", "pound-force feet"},
	{"lbf in", "pound-force inch", "pound-force inches"},
}

// TorqueWords gives a torque in its own unit as it was written, and in the others
// rounded to whole numbers from 10 up and to a tenth below: "35 newton-metres (26
// pound-force feet, 310 pound-force inches)". What is no torque is given as it stands.
func TorqueWords(q Quantity) string {
	base, err := q.As(Torque)
	if err != nil {
		return q.String()
	}
	own, others := "", []string(nil)
	for _, u := range torqueUnits {
		if u.name == q.Unit {
			own = counted(q.Value, u.one, u.many)
			continue
		}
		v := From(base, u.name)
		if v >= 9.95 {
			v = math.Round(v)
		} else {
			v = math.Round(v*10) / 10
		}
		others = append(others, counted(v, u.one, u.many))
	}
	return own + " (" + strings.Join(others, ", ") + ")"
}

func counted(v float64, one, many string) string {
	if v == 1 {
		return "1 " + one
	}
	return strconv.FormatFloat(v, 'f', -1, 64) + " " + many
}
