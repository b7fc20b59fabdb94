package lab

import "telltale/rules/unit"

// Usual is how fast a component makes an analyte, as its own earlier samples have
// it: an individuals chart ([Chart]) of their rates, of few of them the limits that
// the next one stays within ([predictionLimit]), and the latest rate beside it.
type Usual struct {
	Individuals // of the earlier rates, per metre (Per is unit.Distance) or per second
	Per         unit.Kind
	Rates       int     // how many earlier ones there are
	Latest      float64 // the rate at the sample that is judged
	// Outside is 1 where the latest rate lies over the chart's limits by more than the
	// method alone accounts for, -1 where it lies under them, else 0.
	Outside int
}

// leastCharted is the number of earlier rates from which a chart's limits mean
// something, leastUsual that from which a prediction is of use; sureUsual is the
// confidence of its limits, near to that of a chart's. Common practice, no source.
const (
	leastCharted = 8
	leastUsual   = 4
	sureUsual    = 0.995
)

// Usual compares the latest rate with the earlier ones, by distance or, where that is
// not known, by hours. Rates are of what was made, so a drain is no fall.
func (s Sheet) Usual(analyte string) (u Usual, why string, ok bool) {
	_, per, why, ok := s.Rate(analyte)
	if !ok {
		return Usual{}, why, false
	}
	_, rates := s.Rates(analyte, per)
	earlier := rates[:max(0, len(rates)-1)]
	if len(earlier) < leastUsual {
		return Usual{}, "four earlier samples with a rate of " + analyte, false
	}
	u = Usual{Per: per, Rates: len(earlier), Latest: rates[len(earlier)]}
	u.Individuals = bandOf(earlier)
	within, _, _ := s.RateError(analyte, per)
	u.Outside = u.Beyond(u.Latest, within)
	return u, "", true
}

// Beyond is 1 where a value lies over the limits, -1 where it lies under them, and 0
// where it does not, or the method alone, which lets it scatter by within, accounts for
// what it lies off the centre.
func (c Individuals) Beyond(v, within float64) int {
	switch {
	case v > c.Upper && v-c.Centre > within:
		return 1
	case v < c.Lower && c.Centre-v > within:
		return -1
	}
	return 0
}

// bandOf are the limits that the next of the rates should stay within.
func bandOf(rates []float64) Individuals {
	c, _ := Chart(rates)
	if len(rates) < leastCharted {
		c.Upper = predictionLimit(rates, 1, sureUsual)
		c.Lower = 2*c.Centre - c.Upper
	}
	return c
}
