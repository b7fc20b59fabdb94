package frame

import (
	"strings"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
)

// What to do about doubts, on a page: its links are the commands.
const (
	wordDoBack = "Look at the instrument. If it was replaced, enter that with the reading. If a reading is wrong, take it back in the history. If the lower readings are right for another reason, accept them."
	wordDoOdd  = "Read the instrument again and enter the right value. Take a wrong one back in the history."
)

// Advise is what to do about an alarm: where a mail names commands, what pages have in
// their place.
func Advise(t *alarm.Transition) string {
	switch {
	case !strings.Contains(t.Advise, "telltale "):
		return t.Advise
	case t.Rule == doubt.GoingBack:
		return wordDoBack
	}
	return wordDoOdd
}
