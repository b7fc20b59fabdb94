package lab

import (
	_ "embed" // for the tables
	"math"
	"slices"
	"strconv"
	"strings"
)

//go:embed iso4406.csv
var iso4406Text string

//go:embed as4059.csv
var as4059Text string

// iso4406 is the most particles in 1 mL of each scale number from 0.
var iso4406 = func() (most []float64) {
	for _, row := range table(iso4406Text) {
		most = append(most, parse(row)[2])
	}
	return most
}()

// as4059 is the most particles in 100 mL of each class from 000, by size.
var as4059 = func() (rows [][]float64) {
	for _, row := range table(as4059Text) {
		rows = append(rows, parse(row[1:]))
	}
	return rows
}()

// sizesOfAS4059 are the counts for which the standard has limits, in its order; the first
// three are those of ISO 4406.
var sizesOfAS4059 = []string{"particles4", "particles6", "particles14", "particles21", "particles38", "particles70"}

// ISO4406 is the scale number of ISO 4406 for so many particles in 1 mL: the first of
// which the count is no more than the greatest. More than 28 holds is 29.
func ISO4406(count float64) int {
	return slices.IndexFunc(append(iso4406[:len(iso4406):len(iso4406)], math.Inf(1)), func(most float64) bool { return atLeast(most, count) })
}

// AS4059 is the class of SAE AS4059 for so many particles in 1 mL of that size (0: above
// 4 µm, 1: 6, 2: 14, 3: 21, 4: 38, 5: 70), -2 for class 000 and -1 for 00; more than class
// 12 allows is 13.
func AS4059(size int, count float64) int {
	i := slices.IndexFunc(as4059, func(most []float64) bool { return atLeast(most[size], 100*count) })
	if i < 0 {
		i = len(as4059)
	}
	return i - 2
}

// codeOf is the analyte by which sheets report the scale number itself and no count.
func codeOf(analyte string) string { return "iso" + strings.TrimPrefix(analyte, "particles") }

// ISO4406 is the sample's scale number for particles4, particles6 or particles14: of the
// count or, where the sheet has none, the number that it reports (iso4, iso6, iso14).
func (s Sheet) ISO4406(analyte string) (v float64, why string, ok bool) {
	if _, counted := s.Result(analyte); !counted {
		if _, coded := s.Result(codeOf(analyte)); coded {
			return s.Value(codeOf(analyte))
		}
	}
	count, why, ok := s.Value(analyte)
	return float64(ISO4406(count)), why, ok
}

// AS4059 is the sample's class for one of the six sizes.
func (s Sheet) AS4059(analyte string) (v float64, why string, ok bool) {
	count, why, ok := s.Value(analyte)
	if !ok {
		return 0, why, false
	}
	size := slices.Index(sizesOfAS4059, analyte)
	if size < 0 {
		return 0, "limits of SAE AS4059 for " + analyte, false
	}
	return float64(AS4059(size, count)), "", true
}

// ClassName is a class as the standard writes it: "000", "00", "0" to "12", and "over 12".
func ClassName(class int) string {
	switch {
	case class < 0:
		return strings.Repeat("0", 1-class)
	case class > 12:
		return "over 12"
	}
	return strconv.Itoa(class)
}

// fewest is the number of particles that were counted under which a scale number is only
// "at least" (ISO 4406).
const fewest = 20

// FewCounted reports whether fewer than 20 particles may have been counted, had 1 mL been
// looked at: how much was is on no sheet.
func (s Sheet) FewCounted(analyte string) bool {
	r, ok := s.Result(analyte)
	return ok && !r.Above && r.Value < fewest
}
