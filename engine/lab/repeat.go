package lab

import (
	"errors"
	"fmt"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/stat"
)

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
