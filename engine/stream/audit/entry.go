package audit

import (
	"time"

	"telltale/engine/event"
)

// Entry is one thing that somebody did, or tried to do.
type Entry struct {
	// Time is when, UTC, by the clock on the wall; Write sets it where it is zero.
	Time time.Time `json:"time"`
	// Who did it, as the source of what they enter: "/people/ines", "/devices/north-bay-2",
	// "/programs/gateway-3"; "" where nobody knows.
	Who string `json:"who,omitempty"`
	// How they made known who they are.
	How How `json:"how,omitempty"`
	// From is the network that the request came from, see [Network].
	From string `json:"from,omitempty"`
	What What   `json:"what"`
	// Vehicle is the one it was about, by its name in the register; "" where it was none, or
	// many.
	Vehicle string `json:"vehicle,omitempty"`
	// By is who did the work that was entered, as it was named; "" where that is Who.
	By string `json:"by,omitempty"`
	// Events are the identities of what was stored in the log of events, the first twenty.
	Events  []event.ID `json:"events,omitempty"`
	Outcome Outcome    `json:"outcome"`
	// Why it was refused, or failed.
	Why string `json:"why,omitempty"`
	// Words are what else there is to know: the name of a file, how many rows it had, the
	// book that was adopted.
	Words string `json:"words,omitempty"`
}

// How is how somebody made known who they are.
type How string

// The ways. A file is one of the service's folder, Command a command on this machine, and
// MailLink the link of an alarm's mail, by which one alarm can be answered and nothing else.
// Machine is a board that is shown to this machine alone, without signing in.
const (
	Link     How = "link"
	Code     How = "code"
	Passkey  How = "passkey"
	Fleet    How = "fleet"
	Pairing  How = "pairing"
	File     How = "file"
	Command  How = "command"
	MailLink How = "mail link"
	Key      How = "key"
	Machine  How = "this machine"
)

// What is the kind of what was done: a token of the subject it is stored under.
type What string

// The kinds.
const (
	SignIn       What = "sign-in"
	SignOut      What = "sign-out"
	LinkAsked    What = "link-asked"    // a mail to sign in by
	SessionEnded What = "session-ended" // somebody else's, or one's own elsewhere
	PasskeyMade  What = "passkey-made"
	PasskeyGone  What = "passkey-gone"
	Paired       What = "paired" // a tablet

	Looked  What = "looked" // only where it was refused: looking is not written
	Reading What = "reading"
	Work    What = "work"
	Sample  What = "sample"
	Answer  What = "answer" // acknowledged, put aside, postponed, accepted, out of service
	Void    What = "void"   // taken back
	Table   What = "table"  // a file of many rows
	Changed What = "changed"
	Export  What = "export"

	Rules    What = "rules"    // adopted
	People   What = "people"   // people.yaml was read again
	Vehicles What = "vehicles" // vehicles.yaml was
	Settings What = "settings" // telltale.yaml was
	Programs What = "programs" // a program was let in, or is no more
)

// Outcome is what became of it.
type Outcome string

// The outcomes. Refused is what had no right to be, or was wrong; Failed is trouble of ours.
const (
	Done    Outcome = "done"
	Refused Outcome = "refused"
	Failed  Outcome = "failed"
)
