package alarm

import "fmt"

// Backlog says that a transition is no news of the moment: what brought it about lies back,
// or concerns many vehicles at once. Who is told of such gets one summary, once all of it
// is in. It hangs on the log alone, so that a replay says the same.
type Backlog uint8

// What brings a backlog about; 0 is none.
const (
	Registered  Backlog = iota + 1 // the vehicle's registration
	NewRules                       // a rule book
	OldWork                        // work that was entered long after it was done
	OldSample                      // a sample that was reported long after it was drawn
	LateReading                    // a reading that had lain somewhere
	ClockPaused                    // the clock went on after a pause
)

var backlogNames = [...]string{"", "registered", "new rules", "old work", "old sample", "late reading", "clock paused"}

// String is the word for it.
func (b Backlog) String() string { return backlogNames[b] }

// MarshalText writes the word for it.
func (b Backlog) MarshalText() ([]byte, error) { return []byte(b.String()), nil }

// UnmarshalText reads the word for it.
func (b *Backlog) UnmarshalText(text []byte) error {
	for i, name := range backlogNames {
		if name == string(text) {
			*b = Backlog(i)
			return nil
		}
	}
	return fmt.Errorf("%q is not a kind of backlog", text)
}
