package event

import "fmt"

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
