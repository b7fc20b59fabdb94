package job

import "telltale/rules/unit"

// Fault is what sort of thing keeps a job from being an event.
type Fault uint8

// The faults.
const (
	NoSuchName        Fault = iota + 1 // of a task or component
	SeveralComponents                  // the tasks are kept for; it must be said whose fluid it was
	NoComponents                       // are registered, but fluid was exchanged
	NoComponentSaid                    // of which fluid was exchanged
	NoMeter                            // counts what was given
	SeveralMeters                      // count it
	NoQuantity                         // with a unit of the kind
	NoDate                             // nor a time
	NotYet                             // a moment that has not come
)

// Error is what keeps a job from being an event.
type Error struct {
	Fault  Fault
	Option string    // that is wrong, with which the text begins; "" for what does not hang on one
	Name   string    // that nothing has
	Have   []string  // the names that there are
	Kind   unit.Kind // of the quantity that is wanted
	text   string
}

// Error says what is wrong.
func (e *Error) Error() string { return e.text }
