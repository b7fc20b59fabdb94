package rules

import (
	"math"
	"slices"

	"telltale/rules/word"
)

// fakeFacts answers from maps, keyed as evidence shows a word: `value("Cu")`.
// Values are in base units. A key of low and high is a censored result.
type fakeFacts struct {
	vehicle *word.Vehicle
	comp    *word.Component
	numbers map[string]float64
	truths  map[string]bool
	ends    map[string][2]float64
	notes   map[string]string

	mask     uint32
	censored []string
	asked    []string
}

func key(w word.Word, arg string) string {
	name := w.String()
	if info := word.Called(w.String()); info != nil && info.Of == word.Nothing {
		return name + "()"
	}
	return name + `("` + arg + `")`
}

func (f *fakeFacts) Vehicle() *word.Vehicle {
	if f.vehicle == nil {
		return &word.Vehicle{Name: "bus-07", Kind: "minibus", Tags: map[string]string{"road": "hills"}}
	}
	return f.vehicle
}

func (f *fakeFacts) Component() *word.Component { return f.comp }

func (f *fakeFacts) Number(w word.Word, arg string) (float64, string, bool) {
	k := key(w, arg)
	f.asked = append(f.asked, k)
	if e, ok := f.ends[k]; ok {
		i := slices.Index(f.censored, k)
		if i < 0 {
			i = len(f.censored)
			f.censored = append(f.censored, k)
		}
		if f.mask&word.AsReported != 0 {
			return e[1], "", true
		}
		return e[f.mask>>i&1], "", true
	}
	if v, ok := f.numbers[k]; ok {
		return v, "", true
	}
	return 0, arg + " for " + w.String(), false
}

func (f *fakeFacts) Truth(w word.Word, arg string) (bool, string, bool) {
	k := key(w, arg)
	f.asked = append(f.asked, k)
	if v, ok := f.truths[k]; ok {
		return v, "", true
	}
	switch w {
	case word.Has:
		_, plain := f.numbers[key(word.Value, arg)]
		_, ends := f.ends[key(word.Value, arg)]
		return plain || ends, arg + " for has", true
	case word.HasEarlier:
		_, plain := f.numbers[key(word.Change, arg)]
		return plain, arg + " for hasEarlier", true
	case word.Below:
		_, ends := f.ends[key(word.Value, arg)]
		_, plain := f.numbers[key(word.Value, arg)]
		return ends, arg + " for below", plain || ends
	}
	return false, arg + " for " + w.String(), false
}

func (f *fakeFacts) Ends(mask uint32) { f.mask = mask }
func (f *fakeFacts) Censored() int    { return len(f.censored) }
func (f *fakeFacts) Note(w word.Word, arg string) string {
	return f.notes[key(w, arg)]
}

func inf(sign int) float64 { return math.Inf(sign) }
