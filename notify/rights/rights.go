// Package rights is who may do what: the roles that people.yaml gives, the verbs that pages
// and programs ask for, and the one table that says which role allows which.
//
// A role holds for the vehicles of its entry; who those are, people.yaml says, and package
// people reads it. Nothing here knows a person or a vehicle.
package rights

import "fmt"

// Role is what somebody is to a vehicle, as people.yaml names it under `may`.
type Role uint8

// The roles. Look sees; a driver enters what they read off; a keeper has the vehicle; a
// workshop works on it; an operator runs the service.
const (
	Look Role = iota
	Driver
	Keeper
	Workshop
	Operator
)

var roles = []string{Look: "look", Driver: "driver", Keeper: "keeper", Workshop: "workshop", Operator: "operator"}

// Roles are the names of the roles, in their order.
func Roles() []string { return roles }

func (r Role) String() string { return roles[r] }

// Verb is one thing that can be done.
type Verb uint8

// The verbs. Those from Glance to TakeBackAny are of a vehicle, the last two of the service.
const (
	// Anyone is whoever is signed in: their own page, what words mean.
	Anyone Verb = iota
	// Open needs no signing in: the pages on which one signs in.
	Open

	// Glance: which vehicles there are, their meters, and what stands.
	Glance
	// See: all that is known of the vehicle.
	See
	// Reading: enter what a meter shows, and report a defect.
	Reading
	// Work: enter work, measurements, and that an instrument was replaced.
	Work
	// Sample: enter a laboratory's sheet by hand.
	Sample
	// File: enter a table; it may be of any of one's vehicles.
	File
	// Answer: acknowledge an alarm, and end what an answer did.
	Answer
	// Aside: put an alarm aside until a day.
	Aside
	// AsideWarning: put even a warning aside.
	AsideWarning
	// Postpone: postpone work, or accept the offer to go on for longer.
	Postpone
	// OutOfService: take a vehicle out of service, and back.
	OutOfService
	// TakeBackToday: take back what one entered oneself today.
	TakeBackToday
	// TakeBack: take back what one entered oneself.
	TakeBack
	// TakeBackAny: take back what anybody entered.
	TakeBackAny

	// Watch: look at people, programs, rules, messages and how the service runs.
	Watch
	// Change: end sessions, pair tablets, end a program's connection. Asks for a second
	// factor.
	Change
)

var verbs = []string{
	Anyone: "sign in", Open: "come in", Glance: "see what stands", See: "look at everything of it", Reading: "enter readings", Work: "enter work",
	Sample: "enter samples", File: "enter tables", Answer: "acknowledge alarms", Aside: "put alarms aside", AsideWarning: "put warnings aside",
	Postpone: "postpone work and accept offers", OutOfService: "take it out of service and back", TakeBackToday: "take back own entries of the day",
	TakeBack: "take back own entries", TakeBackAny: "take back anyone's entries", Watch: "look at how the service runs",
	Change: "sign others out and pair tablets",
}

func (v Verb) String() string { return verbs[v] }

// Verbs are all of them, in their order.
func Verbs() (out []Verb) {
	for v := range verbs {
		out = append(out, Verb(v))
	}
	return out
}

// OfVehicle reports whether the verb is of a vehicle, and not of the service.
func (v Verb) OfVehicle() bool { return v >= Glance && v <= TakeBackAny }

// table says which verbs a role allows, beside Anyone and Open, which all do. An operator
// may do everything.
var table = map[Role][]Verb{
	Look:     {Glance, See},
	Driver:   {Glance, Reading, TakeBackToday},
	Keeper:   {Glance, See, Reading, Work, Answer, Aside, AsideWarning, Postpone, OutOfService, TakeBackToday, TakeBack},
	Workshop: {Glance, See, Reading, Work, Sample, File, Answer, Aside, Postpone, TakeBackToday, TakeBack},
}

var allowed = func() (out [Operator + 1][Change + 1]bool) {
	for r := range out {
		out[r][Anyone], out[r][Open] = true, true
		for _, v := range table[Role(r)] {
			out[r][v] = true
		}
	}
	for v := range out[Operator] {
		out[Operator][v] = true
	}
	return out
}()

// Does are the verbs of a vehicle that the role allows, in words.
func (r Role) Does() (words []string) {
	for v := Glance; v.OfVehicle(); v++ {
		if Allows(r, v) {
			words = append(words, v.String())
		}
	}
	return words
}

// Allows reports whether the role allows the verb.
func Allows(r Role, v Verb) bool {
	if int(r) >= len(allowed) || int(v) >= len(verbs) {
		panic(fmt.Sprintf("rights: there is no role %d with verb %d", r, v))
	}
	return allowed[r][v]
}

// OfAnswer is the verb that an answer needs, by the name of it that events have; warning says
// that what it is about stands as a warning. One that it does not know needs what only an
// operator may.
func OfAnswer(answer string, warning bool) Verb {
	switch answer {
	case "acknowledge", "unshelve", "not mine":
		return Answer
	case "shelve":
		if warning {
			return AsideWarning
		}
		return Aside
	case "postpone", "accept":
		return Postpone
	case "out of service", "in service":
		return OutOfService
	}
	return TakeBackAny
}
