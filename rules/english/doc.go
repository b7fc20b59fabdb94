// Package english writes numbers, counts, lists and quantities as people read them in
// a sentence. It is pure, and the only place that knows how this is done; what the
// sentences say stands with those who say it.
//
// A number is written with as many figures as its reader has use for: [Number] has all
// of them, [Figures] three, [FourFigures] four and commas, [Short] and [Signed] two or
// three, [Ratio] two. Whole numbers with commas are [unit.Grouped].
package english
