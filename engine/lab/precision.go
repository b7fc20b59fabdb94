package lab

import (
	_ "embed" // for the tables
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/stat"

	"telltale/rules/unit"
)

//go:embed precision.csv
var precisionText string

// Precision is how far two single results of the same fluid may lie apart by the
// method alone, 95 times in 100: a x^b in one laboratory (repeatability), c x^d in
// two (reproducibility), at least Floor.
type Precision struct {
	A, B, C, D, Floor float64
	Source            string // the standard, "from memory", or that it is a default
}

var precisions = func() map[string]Precision {
	m := map[string]Precision{}
	for _, row := range table(precisionText) {
		n := parse(row[1:6])
		m[row[0]] = Precision{n[0], n[1], n[2], n[3], n[4], row[6]}
	}
	return m
}()

// PrecisionOf returns the precision of an analyte's usual method; the stated
// default where none is on the table.
func PrecisionOf(analyte string) Precision {
	if p, ok := precisions[analyte]; ok {
		return p
	}
	return precisions["default"]
}

// Limit returns the difference between two results of mean x that the method
// alone accounts for.
func (p Precision) Limit(x float64, sameLaboratory bool) float64 {
	a, b := p.C, p.D
	if sameLaboratory {
		a, b = p.A, p.B
	}
	return math.Max(a*math.Pow(math.Max(x, 0), b), p.Floor)
}

// Real reports whether the change between two results is more than the method
// alone accounts for: repeatability where one laboratory measured both,
// reproducibility otherwise.
func Real(analyte string, a, b float64, sameLaboratory bool) bool {
	return math.Abs(a-b) > PrecisionOf(analyte).Limit((a+b)/2, sameLaboratory)
}

// table reads one of the embedded tables, its heading left out. They are fixed
// when the program is built and read by tests; a fault in one is a programmer's.
func table(text string) [][]string {
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		panic("embedded table: " + err.Error())
	}
	return rows[1:]
}

// parse reads numbers, NaN where a cell is empty.
func parse(cells []string) []float64 {
	out := make([]float64, len(cells))
	for i, s := range cells {
		v, err := strconv.ParseFloat(s, 64)
		switch {
		case s == "":
			v = math.NaN()
		case err != nil:
			panic("embedded table: " + err.Error())
		}
		out[i] = v
	}
	return out
}

// An uncertainty here is what the method alone accounts for, 95 times in 100. A
// single result lies within r/√2 of what would be found on average, r being what two
// single results may lie apart ([Precision.Limit]): r is 1.96 √2 standard deviations
// (ISO 5725-6, from memory). Independent errors add by their squares.

// Off is the sheet with each result of its sample as far off as the method alone lets it
// be, upwards or downwards: by its repeatability where the sample before came from the same
// laboratory, by its reproducibility otherwise.
func (s Sheet) Off(up bool) Sheet {
	last := len(s.History) - 1
	s.History = slices.Clone(s.History)
	before := s.History.before(last, false)
	one := before >= 0 && s.oneLaboratory(before, last)
	results := slices.Clone(s.History[last].Results)
	for i, r := range results {
		by := PrecisionOf(r.Analyte).Limit(r.Value, one) / math.Sqrt2
		if !up {
			by = -by
		}
		results[i].Value = math.Max(0, r.Value+by)
	}
	s.History[last].Results = results
	return s
}

// MadeError is the uncertainty of [Sheet.Made]: that of the sample's result and, as
// far as the exchange left it behind, that of the result before the exchange.
func (s Sheet) MadeError(analyte string) (v float64, why string, ok bool) {
	if _, why, ok = s.Made(analyte); !ok {
		return 0, why, false
	}
	h, last := s.History, len(s.History)-1
	return s.between(analyte, h.before(h.before(last, true), false)) * s.Unhidden(), "", true
}

// between is the uncertainty of the sample's result less what is left in it of that
// at step i.
func (s Sheet) between(analyte string, i int) float64 {
	last := len(s.History) - 1
	now, _ := s.at(last, analyte)
	then, _ := s.at(i, analyte)
	one := s.oneLaboratory(i, last)
	p := PrecisionOf(analyte)
	return math.Hypot(p.Limit(now, one), float64(s.History.left(i, last)*p.Limit(then, one))) / math.Sqrt2
}

func (s Sheet) oneLaboratory(i, j int) bool {
	name := s.History[i].Laboratory
	return name != "" && name == s.History[j].Laboratory
}

// MadeIsReal reports whether [Sheet.Made] is more than its uncertainty.
func (s Sheet) MadeIsReal(analyte string) (really bool, why string, ok bool) {
	made, why, ok := s.Made(analyte)
	within, _, _ := s.MadeError(analyte)
	return ok && math.Abs(made) > within, why, ok
}

// RateError is the uncertainty of [Sheet.RateBy], by the same meter.
func (s Sheet) RateError(analyte string, per unit.Kind) (v float64, why string, ok bool) {
	if _, why, ok = s.RateBy(analyte, per); !ok {
		return 0, why, false
	}
	last := len(s.History) - 1
	from := s.History.before(last, false)
	return s.between(analyte, from) / s.History.heldRun(from, last, per), "", true
}

// criticalRange is how far the results of 2, 3, … analyses of one sample may lie apart
// in one laboratory, over its standard deviation, 95 times in 100 (ISO 5725-6, from
// memory).
var criticalRange = [...]float64{2.8, 3.3, 3.6, 3.9, 4.0}

// Repeated is the one result of repeated analyses of a sample: their mean, where they
// lie no farther apart than one laboratory's method lets them; of three or more that
// do, the median, and apart says so; of several that are below (or above) a limit, the
// one that says most. An error says why two do not go together. (ISO 5725-6, 5.2: two
// that do not agree ask for more, and of those the median; from memory.)
func Repeated(rs []Result) (one Result, apart string, err error) {
	one = rs[0]
	values := make([]float64, len(rs))
	censored, above := 0, 0
	for i, r := range rs {
		values[i] = r.Value
		if r.Censored {
			censored++
		}
		if r.Above {
			above++
		}
	}
	slices.Sort(values)
	n := len(rs)
	low, high := values[0], values[n-1]
	switch {
	case censored == n:
		one.Value = low
		return one, "", nil
	case above == n:
		one.Value = high
		return one, "", nil
	case censored+above > 0:
		return one, "", fmt.Errorf("of %d analyses some gave a value and some a limit; ask the laboratory", n)
	}
	one.Value = fourFigures(stat.Mean(values, nil))
	factor := criticalRange[min(n, len(criticalRange)+1)-2] / criticalRange[0]
	may := factor * PrecisionOf(one.Analyte).Limit(one.Value, true)
	if high-low <= may*(1+1e-9) {
		return one, "", nil
	}
	apart = fmt.Sprintf("%d analyses lie %.3g apart, more than the %.3g that the method allows one laboratory", n, high-low, may)
	if n == 2 {
		return one, "", errors.New(apart + "; ask for a third")
	}
	one.Value = (values[(n-1)/2] + values[n/2]) / 2
	return one, apart + "; the median is taken", nil
}

// fourFigures rounds a mean to more figures than any result has, and to no more than
// people can read.
func fourFigures(v float64) float64 {
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 4, 64), 64)
	return r
}
