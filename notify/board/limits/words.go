package limits

import (
	"fmt"
	"time"

	"telltale/rules/english"
)

// NewLinks are the limits of the pages behind links in mails, where nobody signs in: 60 a
// minute from an address, as of the board.
func NewLinks() *By { return Each(Rate{60, time.Minute}) }

// The words for whoever has to wait.
const (
	wordTooOften = "Too many pages in a short time."
	wordWait     = "Nothing is wrong. Wait %s, then load the page again."
	wordWaitSent = "What you sent is not stored. Wait %s, then load the page again: the browser sends it once more, and nothing is entered twice."
)

// Words ask for patience; sent says that something was to be stored. after is the wait in
// whole seconds.
func Words(wait time.Duration, sent bool) (title, words string, after int) {
	after = int((wait + time.Second - 1) / time.Second)
	words = wordWait
	if sent {
		words = wordWaitSent
	}
	return wordTooOften, fmt.Sprintf(words, english.Plural(after, "second")), after
}
