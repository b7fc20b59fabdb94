// Package event is what is reported: by gateways, workshops, laboratories and people,
// and by the service's own clock. An [Event] was decoded and checked before it gets
// here; whether it fits its vehicle is for the vehicle's record to say.
package event

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// ID is an event's identity: the same (source, id) is the same event.
type ID struct {
	Source string `json:"source"`
	ID     string `json:"id"`
}

// Personal reports whether a source is one that the service gives to what somebody enters
// into its pages: a person's, "/people/ines", or a tablet's, "/devices/north-bay-2". Nobody
// else may name one.
func Personal(source string) bool {
	return strings.HasPrefix(source, "/people/") || strings.HasPrefix(source, "/devices/")
}

// Kind is what sort of event it is; its order breaks ties of equal times.
type Kind uint8

var kindNames = [...]string{
	VehicleEvent: "vehicle", MeterReplacedEvent: "meter-replaced", ReadingEvent: "reading", SampleEvent: "sample",
	ServiceEvent: "service", AnswerEvent: "answer", VoidEvent: "void", TickEvent: "tick", BookEvent: "book", TurnEvent: "turn",
	SurveyEvent: "survey", BaselineEvent: "baseline", MergeEvent: "merge",
}

// The kinds. Tick and those after it are written by the service alone.
const (
	VehicleEvent Kind = iota + 1
	MeterReplacedEvent
	ReadingEvent
	SampleEvent
	ServiceEvent
	AnswerEvent
	VoidEvent
	TickEvent
	BookEvent
	TurnEvent
	SurveyEvent
	BaselineEvent
	MergeEvent
)

// String is the kind's name as in the type "telltale.<kind>.v1" and the subject token.
func (k Kind) String() string { return kindNames[k] }

// Internal reports whether only the service may write events of this kind.
func (k Kind) Internal() bool { return k >= TickEvent }

// KindOf returns the kind of that name; ok is false where there is none.
func KindOf(name string) (k Kind, ok bool) {
	for i, n := range kindNames {
		if n == name && n != "" {
			return Kind(i), true
		}
	}
	return 0, false
}

// Event is one decoded and validated event.
type Event struct {
	ID      ID
	Kind    Kind
	Vehicle string // the subject; "" for internal kinds
	Time    time.Time
	// Recorded is when it was reported; equal to Time where the event says nothing.
	Recorded time.Time
	// Digest is the hash of the whole event in canonical form; the same identity
	// with another digest is a conflict.
	Digest uint64
	// Data is a *VehicleData, *MeterReplacedData, *ReadingData, *SampleData,
	// *ServiceData, *AnswerData, *VoidData, *BookData, *TurnData, *SurveyData,
	// *BaselineData, *MergeData, or nil for a tick.
	Data any
	// Line is the event's line in a file, 0 elsewhere.
	Line int
}

// DigestText is a digest in hex.
func DigestText(digest uint64) string { return strconv.FormatUint(digest, 16) }

// Hash is the digest of the event's content in hex.
func (ev Event) Hash() string { return DigestText(ev.Digest) }

// FromStored turns the stored form of an unknown number, which is negative, back into NaN.
func FromStored(v float64) float64 {
	if v < 0 {
		return math.NaN()
	}
	return v
}

// ToStored writes an unknown number, NaN, as a negative one.
func ToStored(v float64) float64 {
	if math.IsNaN(v) {
		return -1
	}
	return v
}

// RefusalClass is the kind of reason for which an event is refused. It is empty for an
// event that fits nothing that is known of its vehicle.
type RefusalClass string

// The classes. An event of the first three was refused before it was folded.
const (
	Malformed   RefusalClass = "malformed" // no event, or not one of its kind
	Forged      RefusalClass = "forged"    // of a kind that only the service writes
	InTheFuture RefusalClass = "future"    // observed later than it was stored
	Conflict    RefusalClass = "conflict"  // another event has its identity
	Fault       RefusalClass = "fault"     // our own, in folding it
)

// Refused is why an event cannot be used.
type Refused struct {
	Class RefusalClass
	text  string
}

// Error is the reason in words.
func (r *Refused) Error() string { return r.text }

// Refuse says why an event does not fit its vehicle.
func Refuse(format string, args ...any) error { return RefuseAs("", format, args...) }

// RefuseAs says why an event is refused for a reason of that class.
func RefuseAs(class RefusalClass, format string, args ...any) error {
	return &Refused{class, fmt.Sprintf(format, args...)}
}
