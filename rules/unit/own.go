package unit

import "strings"

// Own puts a value into the system's unit: a quantity, what is run in a day, a rate per
// 1,000 of a distance, or how fast that rises for each 1,000. Anything else, and what the
// system does not speak of, stays as it is.
func (s System) Own(v float64, name string) (float64, string) {
	base, kind, err := Base(v, name)
	if to := s.Of(kind); err == nil && to != "" && to != name {
		return From(base, to), to
	}
	if of, daily := strings.CutSuffix(name, "/day"); daily {
		v, of = s.Own(v, of)
		return v, of + "/day"
	}
	before, of, rate := strings.Cut(name, perThousand)
	first, each, rising := strings.Cut(of, ", for each 1,000 ")
	k, ok := Of(first)
	if to := s.Of(k); rate && ok && k == Distance && to != "" && to != first {
		of, v = to, v/From(factor(first), to)
		if rising && each == first {
			of, v = to+", for each 1,000 "+to, v/From(factor(first), to)
		}
		return v, before + perThousand + of
	}
	return v, name
}

const perThousand = " per 1,000 "

// factor is one of the unit, in the base unit of its kind.
func factor(name string) float64 {
	v, _, _ := Base(1, name)
	return v
}
