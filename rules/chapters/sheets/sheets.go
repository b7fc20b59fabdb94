// Package sheets composes laboratory sheets of known cause: what a laboratory would
// print of a sound machine's fluid, and of one into which a known amount of a known
// alloy, dust, coolant or other oil has come. They are what the ready-made chapters
// are tried on, and were composed from the trade's figures, not from the chapters'.
//
//	for _, s := range sheets.All(40) {
//		fold(s.Events) // in short form; the last is the sheet
//	}
//
// What scatters: the shares of an alloy, the method's error, the batch of the oil, what
// one machine makes beside another, the fluid's age (from a third to 2.5 times the
// usual), how much of its past is known, half drains, the laboratory (all results, the
// usual ones, or three metals), results that are missing, results "below 1". The same
// number of sheets is the same sheets on every machine: nothing here is random but by
// a fixed seed.
package sheets

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
)

// Sheet is one sheet of known cause, with the past that its cause gives the vehicle.
type Sheet struct {
	Cause *Cause
	// Number counts the sheets of one cause from 0.
	Number int
	// Machine is what the fluid is in: "diesel", "petrol", "petrol thin" or "gearbox".
	Machine            string
	Vehicle, Component string
	// Events are the vehicle's, in order and in short form. The last is the sheet.
	Events []string
	// Right are the classes of which one names the cause as far as this sheet shows it.
	Right []string
	// Danger says that a person who hears nothing of it comes to harm, or the machine.
	Danger bool
}

// Cause is what happened to the machine or its fluid.
type Cause struct {
	Name string
	// Sound says that nothing is wrong: the sheet should raise nothing.
	Sound bool
	// Danger says that silence is harmful; DangerFrom, that it is so from that much of a
	// result on.
	Danger     bool
	DangerFrom map[string]float64
	// Right are the classes of which one names the cause; Also those that may be named
	// beside it, or are harmless if they are.
	Right, Also []string
	// ThreeMetals are the classes that are right where the sheet has iron, copper and
	// silicon alone; nil where such a sheet would not show the cause at all.
	ThreeMetals []string

	in     []*machine
	needs  []string // results without which nobody could tell
	hidden []string // results that were not measured
	age    ages
	habit  func(*rand.Rand) float64 // how much more of its metals this machine always makes
	past   int                      // how many earlier sheets there are; 0: by chance
	runIn  bool                     // on its first fill
	add    func(*oil)               // what came into the fluid
}

// ages are the fluid's ages over the usual one, from and to.
type ages [2]float64

var anyAge = ages{1. / 3, 2.5}

// All are n sheets of each cause, in order of cause.
func All(n int) []Sheet {
	var out []Sheet
	for i := range Causes {
		for k := range n {
			out = append(out, compose(&Causes[i], k))
		}
	}
	return out
}

// Causes are all causes, faults first.
var Causes = append(append(append([]Cause{}, engineFaults...), gearboxFaults...), sound...)

// seeded is the source of chance of one sheet. It hangs on the cause's name and the
// number alone, so that a cause that is added changes no other.
func seeded(name string, number int) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s %d", name, number)
	return rand.New(rand.NewPCG(h.Sum64(), uint64(number)))
}
