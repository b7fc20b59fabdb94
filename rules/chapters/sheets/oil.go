package sheets

import (
	"math"
	"math/rand/v2"
)

// oil is the true content of one machine's fluid, each result in its own unit.
type oil struct {
	r     *rand.Rand
	m     *machine
	ratio float64 // the fluid's age over the usual one
	v     map[string]float64
}

// maker is how much one machine makes of each result, over what its kind makes.
type maker map[string]float64

// newMaker draws a machine: some make more of everything, and each its own of each.
func newMaker(r *rand.Rand, m *machine, habit float64) maker {
	const most = 2.6 // times the usual, and nobody calls it sound
	all := logNormal(r, .2) * habit
	out := maker{}
	for _, f := range m.figures {
		of := logNormal(r, f.spread)
		if metals[f.analyte] {
			of *= all
		}
		out[f.analyte] = min(of, most)
	}
	return out
}

// metals are those of which a machine with hard work makes more.
var metals = map[string]bool{"Fe": true, "Cr": true, "Cu": true, "Pb": true, "Sn": true, "Al": true, "Ni": true, "ferrous": true}

// ran is the fluid after it ran for ratio times the usual age.
func ran(r *rand.Rand, m *machine, by maker, ratio float64) *oil {
	o := &oil{r, m, ratio, map[string]float64{}}
	for _, f := range m.figures {
		fresh := f.fresh
		if fresh > 10 && f.analyte != "flash" { // additives differ by batch; some 3 %, from memory
			fresh *= logNormal(r, .03)
		}
		o.v[f.analyte] = math.Max(0, fresh+float64(f.made*ratio*by[f.analyte]*logNormal(r, .08)))
	}
	return o
}

// part is an element's share of what came in, from and to.
type part struct {
	analyte  string
	from, to float64
}

// mix adds total mg/kg of something, of which each part has a share within its range.
func (o *oil) mix(parts []part, total float64) {
	for _, p := range parts {
		o.v[p.analyte] += float64(total * o.between(p.from, p.to))
	}
}

// amount is how much came in: as likely in the lower half as in the upper one by
// ratio, and more where the fluid is older than usual.
func (o *oil) amount(from, to float64) float64 {
	return from * math.Pow(to/from, o.r.Float64()) * math.Max(1, o.ratio)
}

func (o *oil) between(from, to float64) float64 { return from + float64((to-from)*o.r.Float64()) }

// chance is true so often.
func (o *oil) chance(p float64) bool { return o.r.Float64() < p }

// times multiplies what is there.
func (o *oil) times(analyte string, from, to float64) { o.v[analyte] *= o.between(from, to) }

// set puts a result, whatever was there.
func (o *oil) set(analyte string, from, to float64) { o.v[analyte] = o.between(from, to) }

// blend puts another fluid in the place of a share of this one. Viscosities blend by
// their logarithms, near enough for oils of one kind (from memory).
func (o *oil) blend(other map[string]float64, share float64) {
	for _, f := range o.m.figures {
		v, ok := other[f.analyte]
		switch {
		case !ok:
		case f.analyte == "KV100":
			o.v["KV100"] = math.Pow(o.v["KV100"], 1-share) * math.Pow(v, share)
		default:
			o.v[f.analyte] = float64(o.v[f.analyte]*(1-share)) + float64(v*share*logNormal(o.r, .03))
		}
	}
}

func logNormal(r *rand.Rand, sd float64) float64 { return math.Exp(sd * r.NormFloat64()) }
