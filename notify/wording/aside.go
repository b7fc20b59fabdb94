package wording

import (
	"fmt"

	"telltale/engine/alarm"
)

const (
	wordShelf        = "it can be put aside for %d days at most"
	wordWarningShelf = "a warning can be put aside for %d days at most, and only for a reason"
	// NoReason is said where a warning is put aside for none.
	NoReason = "say why: a warning is put aside only for a reason"
)

// ShelfLimit says for how long an alarm of that stage is put aside.
func ShelfLimit(s alarm.Stage) string {
	if s == alarm.Warning {
		return fmt.Sprintf(wordWarningShelf, alarm.ShelfDays(s))
	}
	return fmt.Sprintf(wordShelf, alarm.ShelfDays(s))
}
