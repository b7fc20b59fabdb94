// Package lab reads fluid samples: units and censored results, what an exchange
// of fluid left behind, the fluid's age, trends, baselines, viscosity. It is
// pure: no I/O, no clock, no randomness; the same history gives the same answer.
//
// A component's past is a [History], samples and exchanges of fluid in order,
// the last step being the sample that is judged. A [Sheet] answers what a rule
// may ask of it. An answer that cannot be given says in words what is missing;
// nothing is ever read as zero silently.
//
//	s := lab.Sheet{History: h, Fresh: map[string]float64{"P": 290}}
//	made, why, ok := s.Made("Cu")
//
// What the method cannot see: spectrometry is nearly blind to particles above
// some 5 to 8 µm, and what a filter caught is not modelled, so wear made is a
// lower bound and no answer here means "no wear".
//
// Everything here informs a person's judgement. The maker's instructions, local
// law and a licensed mechanic's judgement stand above it.
package lab
