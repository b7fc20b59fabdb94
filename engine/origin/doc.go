// Package origin reads where the metals in a fluid come from: of what is beyond usual it
// finds the few sources (dust, alloys, coolants, another oil) that explain it best, and
// how much of each. It is evidence for people, no finding, and raises nothing.
//
// A source is a row of shares ([Profile]). The excesses of a sheet ([Excess]) are fitted
// by every subset of at most three sources, by least squares with effective variances:
// each element weighs by its own error and by what the range of the shares adds to it. A
// subset in which a source has less than nothing, or no more than twice its standard
// error, is out. Of the others the likeliest is told, less a penalty for each source.
// Those that are nearly as likely are told with it: "salt or coolant".
//
// The penalty is that of the extended BIC (Chen and Chen 2008, from memory): ln n for n
// elements and 2 ln p for p sources to choose from. Of so many sources some fit by chance,
// which the second term allows for.
//
// The method and its limits (a source counts from t > 2.0, a fit is good from R² 0.8) are
// those of chemical mass balance: EPA-450/4-87-010. Fitting all sources at once, as is
// done there, is not worth it here: dust is nearly silicone with aluminium.
//
// It is pure, and the same excesses give the same reading.
package origin
