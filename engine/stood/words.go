package stood

import (
	"strconv"
	"strings"

	"telltale/engine/alarm"
)

// Words are what stood after the sample, in a line.
func (v *Verdict) Words() string {
	s := string(v.Stage)
	switch {
	case len(v.Stands) > 0:
		s += ": " + v.names(func(s alarm.Stage) string { return string(s) })
	case v.Judged == 0:
		s = "not judged"
	}
	return s + v.lacked()
}

// Found is it beside the stage's own word: which rules stood, or that none did. word is how
// stages are called.
func (v *Verdict) Found(word func(alarm.Stage) string) string {
	s := "nothing found"
	switch {
	case len(v.Stands) > 0:
		s = v.names(word)
	case v.Judged == 0:
		s = "not judged"
	}
	return s + v.lacked()
}

// names are the rules that stood, each with its stage where that is another.
func (v *Verdict) names(word func(alarm.Stage) string) string {
	var all []string
	for _, of := range v.Stands {
		if of.Stage != v.Stage {
			of.Rule += " (" + word(of.Stage) + ")"
		}
		all = append(all, of.Rule)
	}
	return strings.Join(all, ", ")
}

// lacked is how many of the rules lacked something.
func (v *Verdict) lacked() string {
	n := len(v.NotJudged)
	if n == 0 || v.Judged == 0 {
		return ""
	}
	return "; " + strconv.Itoa(n) + " of " + strconv.Itoa(n+v.Judged) + " checks could not be made"
}
