package lab

import (
	"math"
	"strconv"
)

// thinnest is the viscosity from which the equation of [ViscosityAt] holds without its
// further terms, in mm2/s (ASTM D341, from memory).
const thinnest = 2

// kelvin is the temperature of 0 degC.
const kelvin = 273.15

// ViscosityAt is the kinematic viscosity in mm2/s at a temperature in degC from those
// at 40 and 100 degC, along the line of ASTM D341: log10 log10(v + 0.7) falls in
// proportion to log10 T, T in kelvin. It is for mineral and like oils between their cloud
// point and their first boiling. ok is false where the oil is not thinner at 100 degC, or
// a viscosity is under 2 mm2/s, where the equation has further terms.
func ViscosityAt(celsius, kv40, kv100 float64) (v float64, ok bool) {
	if !(kv100 >= thinnest) || !(kv40 > kv100) || math.IsInf(kv40, 1) || !(celsius > -kelvin) {
		return 0, false
	}
	w := func(v float64) float64 { return float64(math.Log10(float64(math.Log10(v + 0.7)))) }
	at := func(c float64) float64 { return float64(math.Log10(c + kelvin)) }
	b := (w(kv40) - w(kv100)) / (at(100) - at(40))
	v = math.Pow(10, math.Pow(10, w(kv40)-float64(b*(at(celsius)-at(40))))) - 0.7
	return v, v >= thinnest && !math.IsInf(v, 1)
}

// ViscosityAt is [ViscosityAt] of the sample.
func (s Sheet) ViscosityAt(celsius float64) (v float64, why string, ok bool) {
	var m missing
	kv40, kv100 := s.viscosities(&m)
	v, ok = ViscosityAt(celsius, kv40, kv100)
	m.unless(ok, "viscosities from which that at ", strconv.FormatFloat(celsius, 'f', -1, 64), " °C follows")
	return m.answer(v)
}
