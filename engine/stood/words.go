package stood

import "strconv"

// Words are what stood after the sample, in a line.
func (v *Verdict) Words() string {
	s := string(v.Stage)
	if v.Judged == 0 && len(v.Stands) == 0 {
		s = "not judged"
	}
	for i, of := range v.Stands {
		if s += ", "; i == 0 {
			s = string(v.Stage) + ": "
		}
		s += of.Rule
		if of.Stage != v.Stage {
			s += " (" + string(of.Stage) + ")"
		}
	}
	if n := len(v.NotJudged); n > 0 && v.Judged > 0 {
		s += "; " + strconv.Itoa(n) + " of " + strconv.Itoa(n+v.Judged) + " checks could not be made"
	}
	return s
}
