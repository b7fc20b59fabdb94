package lab

import (
	_ "embed" // for the tables
	"encoding/csv"
	"math"
	"strconv"
	"strings"
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
