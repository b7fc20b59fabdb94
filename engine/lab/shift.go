package lab

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"telltale/rules/unit"
)

// A small rise that stays is no single value out of range: each sample lies within the
// limits of [Chart], and together they say it. Two charts add up what came before.

// EWMA is the exponentially weighted moving average of values in time order after each
// of them, from a centre: z = weight × value + (1 - weight) × the z before
// (NIST/SEMATECH e-Handbook 6.3.2.4).
func EWMA(values []float64, centre, weight float64) []float64 {
	out := make([]float64, len(values))
	z := centre
	for i, v := range values {
		z = float64(weight*v) + float64((1-weight)*z)
		out[i] = z
	}
	return out
}

// ewmaSpread is the standard deviation of [EWMA] after n values, over that of a single
// value: its square is weight / (2 - weight), less what the first values lack of it.
func ewmaSpread(weight float64, n int) float64 {
	return math.Sqrt(weight / (2 - weight) * (1 - math.Pow(1-weight, float64(2*n))))
}

// CUSUM adds up by how much values in time order lie over the centre by more than
// slack, after each of them, never under 0 (tabular, upper side: NIST/SEMATECH
// e-Handbook 6.3.2.3). For the lower side turn all signs.
func CUSUM(values []float64, centre, slack float64) []float64 {
	out := make([]float64, len(values))
	s := 0.0
	for i, v := range values {
		s = math.Max(0, s+v-centre-slack)
		out[i] = s
	}
	return out
}

// Shift is where a chart of small lasting rises stands at the latest sample: its
// statistic beside the limit, both per metre (Per is unit.Distance) or per second.
type Shift struct {
	Per          unit.Kind
	Centre       float64 // of the component's first rates
	First, After int     // how many rates made the centre, and how many are charted
	Value, Limit float64
}

// Out reports whether the chart signals.
func (s Shift) Out() bool { return s.Value > s.Limit }

const (
	ewmaWeight = 0.3 // NIST/SEMATECH e-Handbook 6.3.2.4, between 0.2 and 0.3
	// slackOfCUSUM and limitOfCUSUM are in standard deviations; with eight values or more
	// to estimate these from, as EPA 530/R-09-007 section 20.2 has them (from memory).
	slackOfCUSUM = 1
	limitOfCUSUM = 5
	firstRates   = 8
)

// background is what the component's first rates were: their mean and deviation, and
// the rates after them.
type background struct {
	shift    Shift
	spread   float64
	after    []float64
	estimate float64 // standard deviation of the mean, over that of a single value
}

// background takes the first eight rates that were taken alike for what is usual. The
// spread is at least what the method alone makes, so that a metal that was never found
// has one.
func (s Sheet) background(analyte string) (b background, why string, ok bool) {
	_, per, why, ok := s.Rate(analyte)
	if !ok {
		return b, why, false
	}
	_, rates := s.Rates(analyte, per)
	if len(rates) <= firstRates {
		return b, "eight earlier samples with a rate of " + analyte, false
	}
	first := rates[:firstRates]
	mean, sd := stat.MeanStdDev(first, nil)
	within, _, _ := s.RateError(analyte, per)
	b.after = rates[firstRates:]
	b.spread = math.Max(sd, within/normal95)
	b.estimate = 1 / math.Sqrt(float64(len(first)))
	b.shift = Shift{Per: per, Centre: mean, First: len(first), After: len(b.after)}
	return b, "", true
}

// EWMAOf charts how fast the analyte is made by [EWMA], against the component's own
// first rates. The limit is that of NIST, wider by the error of the mean, and by Student's
// t (99.5 %) in place of its 3 standard deviations, since both come from eight rates alone.
func (s Sheet) EWMAOf(analyte string) (c Shift, why string, ok bool) {
	b, why, ok := s.background(analyte)
	if !ok {
		return Shift{}, why, false
	}
	c = b.shift
	z := EWMA(b.after, c.Centre, ewmaWeight)
	c.Value = z[len(z)-1]
	c.Limit = c.Centre + float64(ewmaReach(c.First)*b.spread*math.Hypot(ewmaSpread(ewmaWeight, c.After), b.estimate))
	return c, "", true
}

// ewmaReach is how many standard deviations, estimated from n values, the limit lies over
// the centre.
func ewmaReach(n int) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(n - 1)}.Quantile(sureUsual)
}

// CUSUMOf charts how fast the analyte is made by [CUSUM], against the component's own
// first rates. Value and Limit are sums of rates over the centre.
func (s Sheet) CUSUMOf(analyte string) (c Shift, why string, ok bool) {
	b, why, ok := s.background(analyte)
	if !ok {
		return Shift{}, why, false
	}
	c = b.shift
	sums := CUSUM(b.after, c.Centre, slackOfCUSUM*b.spread)
	c.Value, c.Limit = sums[len(sums)-1], limitOfCUSUM*b.spread
	return c, "", true
}
