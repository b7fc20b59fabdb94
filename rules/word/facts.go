package word

import "strings"

// Vehicle is what a rule may ask of a vehicle.
type Vehicle struct {
	Key  string            `expr:"key"`  // by which the register names it
	Name string            `expr:"name"` // by which people call it
	Kind string            `expr:"kind"`
	Tags map[string]string `expr:"tags"`
}

// Component is what a rule may ask of a component.
type Component struct {
	Name     string  `expr:"name"`
	Kind     string  `expr:"kind"`
	Fluid    string  `expr:"fluid"`
	Capacity float64 `expr:"capacity"` // litres; 0 where unknown
}

// Facts answers what rules ask of one vehicle (and one component) at one
// moment. Numbers are in base units (metres, seconds of running, days, the
// analyte's own unit; Rate per metre, RatePer100h per second); the Judge
// converts them to the units of the rule's file. Make one Facts for each rule judged: censored
// results that another rule met would count as this one's.
//
// A censored result ("below L") stands for both its ends. Facts numbers such
// results in the order in which they are first asked for: Censored tells how many
// were met so far, Ends chooses for each, by the bit of its number, the lower
// end (0) or the upper (L). Facts must keep the numbering until it is asked about
// another moment. For a mask with the bit AsReported they
// show what the laboratory reported; those that always do so choose an end all the same
// for one with the bit Chosen.
type Facts interface {
	Vehicle() *Vehicle
	Component() *Component // nil for a rule kept once a vehicle

	// Number answers a word that gives a number. Where the answer is missing, ok
	// is false and why names what is missing, in words: `Cu in the sample`,
	// `a baseline for K`, `an earlier sample`.
	Number(w Word, arg string) (v float64, why string, ok bool)
	// Truth answers a word that gives true or false. For a guard, such as has, it is never
	// missing, and why says of a false one what is not there.
	Truth(w Word, arg string) (v bool, why string, ok bool)

	Ends(mask uint32)
	Censored() int

	// Note adds what evidence for this word should say beside the number: the
	// baseline's name and source, "below 1", "fresh taken as 0".
	Note(w Word, arg string) string
}

// The bits of a mask beside those of the results.
const (
	AsReported = 1 << 30
	Chosen     = 1 << 31
)

var fields = map[string]func(*Vehicle, *Component) string{
	"vehicle.key":     func(v *Vehicle, _ *Component) string { return v.Key },
	"vehicle.name":    func(v *Vehicle, _ *Component) string { return v.Name },
	"vehicle.kind":    func(v *Vehicle, _ *Component) string { return v.Kind },
	"component.name":  func(_ *Vehicle, c *Component) string { return c.Name },
	"component.kind":  func(_ *Vehicle, c *Component) string { return c.Kind },
	"component.fluid": func(_ *Vehicle, c *Component) string { return c.Fluid },
}

// Field is what reads a field that is text, by a name such as vehicle.kind,
// component.fluid or, for a tag, vehicle.tags.road; nil for another name. A tag that
// is not there is "".
func Field(name string) func(*Vehicle, *Component) string {
	if tag, ok := strings.CutPrefix(name, "vehicle.tags."); ok {
		return func(v *Vehicle, _ *Component) string { return v.Tags[tag] }
	}
	return fields[name]
}
