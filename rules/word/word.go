// Package word knows what a rule may ask of a vehicle: the words, a row each in
// words.yaml, with the unit of their answers, what they mean and how they are told to
// people who read no rules. It says what whoever answers them promises ([Facts]), and
// knows nothing of how the answers come about. It is pure.
package word

import (
	_ "embed" // for the table
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"telltale/rules/analytes"
	"telltale/rules/unit"
)

//go:embed words.yaml
var table []byte

// Word is one of the calls by which a rule asks for facts.
type Word uint8

// The words, as Facts is asked for them, in the order of the table.
const (
	None Word = iota
	Odometer
	Hours
	PerDay
	Value
	Below
	Has
	HasEarlier
	FluidAge
	FluidHours
	Times
	TimesForAge
	Usual
	Excess
	ExcessIsReal
	HasUsual
	Deviations
	Percentile
	TimesTheAge
	Change
	Rate
	RatePer100h
	Fresh
	Kept
	Carried
	Made
	MadeIsReal
	Expected
	ChangeIsReal
	Trend
	TrendIsReal
	ExchangesTo
	LitresTo
	OutOfControl
	MetalsFell
	OutOfGrade
	OutOfFluidGrade
	RunningIn
	HasFresh
	ViscosityIndex
	Since
	HoursSince
	DaysSince
	DueIn
	DaysToDue
	Done
	EwmaOut
	CusumOut
	ViscosityAt
	Iso4406
	As4059
	AcidCrossing
	AcidCrossingHours
	FluidDistance
	NearerFluid
	Meter
	MeterDistance
	HoursPerDay
	ToppedUp
	ToppedUpHours
	Stands
	Stage
)

// String is the name by which rules call the word.
func (w Word) String() string {
	if w == None || int(w) > len(words) {
		return "unknown word"
	}
	return words[w-1].Name
}

// Argument says what a word is called with.
type Argument string

// The arguments. Exchanges to a target are asked for as "Na 30".
const (
	Nothing     Argument = ""
	Analyte     Argument = "analyte"
	Task        Argument = "task"
	Target      Argument = "analyte, target"
	Grade       Argument = "grade"       // of viscosity
	Temperature Argument = "temperature" // a number, in degC
	OfMeter     Argument = "meter"       // by its name in the register
	OfRule      Argument = "rule"
)

// Info describes one word: the reference for people who write rules.
type Info struct {
	Name      string `json:"name"`
	Signature string `json:"signature" yaml:"-"`
	Unit      string `json:"unit"`    // "" for a ratio; "analyte's" for the unit of the analyte asked for
	Meaning   string `json:"meaning"` // one sentence
	Source    string `json:"source"`  // where the definition comes from
	Example   string `json:"example"`

	Word   Word     `json:"-" yaml:"-"`
	Of     Argument `json:"-"`
	Truth  bool     `json:"-"` // the answer is true or false
	Sample bool     `json:"-"` // asks about a component's fluid, so the rule must know which component
	Phrase string   `json:"-"` // for those who read no rules, a %s for each argument: "%s, times the baseline"
	// Guard says whether something is there to be asked about; it looks at no result.
	Guard bool `json:"-"`
	// Other says that the word, though asked of an analyte, does not look at the sample's
	// own result.
	Other bool `json:"-"`
	// Difference says that the answer is the difference of two results.
	Difference bool `json:"-"`
}

// Reads lists the analytes of which the word looks at the sample's result.
func (d *Info) Reads(arg string) []string {
	switch _, component := Elsewhere(arg); {
	case component != "": // what is asked of another component reads no result of this sample
		return nil
	case d.Guard || d.Other:
		return nil
	case d.Word == Iso4406:
		return []string{arg, strings.Replace(arg, "particles", "iso", 1)}
	case d.Of == Analyte || d.Of == Target:
		analyte, _, _ := strings.Cut(arg, " ")
		return []string{analyte}
	case d.Of == Grade && strings.HasPrefix(arg, "ISO"): // ISO 3448 is at 40 °C, SAE J300 at 100 °C
		return []string{"KV40"}
	case d.Of == Grade:
		return []string{"KV100"}
	case d.Word == AcidCrossing || d.Word == AcidCrossingHours:
		return []string{"TAN", "TBN"}
	case d.Word == ViscosityIndex || d.Word == ViscosityAt || d.Word == OutOfFluidGrade:
		return []string{"KV100", "KV40"}
	case d.Word == MetalsFell:
		return analytes.WearMetals()
	}
	return nil
}

// measured are the words that may be asked of what is measured by hand.
var measured = []Word{Value, Below, Has, HasEarlier, Change, Rate, RatePer100h, Trend, TrendIsReal, Times, Deviations}

// OfMeasures reports whether the word may be asked of what is measured by hand.
func (d *Info) OfMeasures() bool { return slices.Contains(measured, d.Word) }

// OfMeasures lists the words that may be asked of what is measured by hand.
func OfMeasures() []string {
	var out []string
	for _, w := range measured {
		out = append(out, w.String())
	}
	return out
}

var words = read()

// read reads the table. It is fixed when the program is built; a fault in it is a
// programmer's.
func read() []Info {
	var words []Info
	if err := yaml.Unmarshal(table, &words); err != nil {
		panic("words.yaml: " + err.Error())
	}
	for i := range words {
		d := &words[i]
		d.Word = Word(i + 1)
		d.Signature = d.Name + "(" + string(d.Of) + ") " + map[bool]string{true: "true or false", false: "number"}[d.Truth]
	}
	return words
}

// All lists what a rule may ask, in the order of the reference.
func All() []Info { return slices.Clone(words) }

// Called is the word that rules call by that name; nil for another name.
func Called(name string) *Info {
	if i := slices.IndexFunc(words, func(d Info) bool { return d.Name == name }); i >= 0 {
		return &words[i]
	}
	return nil
}

// apart is what stands between the analyte and the component in the argument of a word that
// is asked of another component.
const apart = " @"

// AskedOf is the argument of a word that is asked of the analyte of another component, by
// its name or kind.
func AskedOf(analyte, component string) string { return analyte + apart + component }

// Elsewhere is the analyte in a word's argument, and the other component that it is asked of;
// "" where it is asked of the rule's own.
func Elsewhere(arg string) (analyte, component string) {
	analyte, component, _ = strings.Cut(arg, apart)
	return analyte, component
}

// Function is one of the few functions of numbers and texts.
type Function struct{ Name, Signature, Meaning string }

// Functions are all functions, by name; then the units that make a figure of a number.
var Functions = append([]Function{
	{"abs", "abs(x) number", "x without its sign"},
	{"ceil", "ceil(x) number", "the smallest whole number not below x"},
	{"floor", "floor(x) number", "the largest whole number not above x"},
	{"lower", "lower(s) text", "s in lower case"},
	{"max", "max(x, y, …) number", "the largest of the numbers"},
	{"min", "min(x, y, …) number", "the smallest of the numbers"},
	{"round", "round(x, n) number", "x rounded to n decimals (none if n is left out), halves away from zero"},
}, figures("km", "mi", "h", "days", "L", "qt", "gal", "degC", "degF", "kPa", "bar", "psi")...)

func figures(units ...string) []Function {
	var out []Function
	for _, u := range units {
		k, _ := unit.Of(u)
		out = append(out, Function{u, u + "(x) " + k.String(), "x " + u + ", whatever units the file speaks; a text has it in those of its reader"})
	}
	return out
}

// Asked is the word with its argument as rules write it: `times("Cu")`.
func (d *Info) Asked(arg string) string {
	if of, component := Elsewhere(arg); component != "" {
		return fmt.Sprintf("%s(%q, %q)", d.Name, of, component)
	}
	analyte, number, _ := strings.Cut(arg, " ")
	switch d.Of {
	case Nothing:
		return d.Name + "()"
	case Target:
		return fmt.Sprintf("%s(%q, %s)", d.Name, analyte, number)
	case Temperature:
		return d.Name + "(" + arg + ")"
	}
	return fmt.Sprintf("%s(%q)", d.Name, arg)
}
