package frame

import (
	"telltale/rules/english"
)

// The words of the frame. What pages say of work and alarms stands where mails have it.
const (
	wordUnseen   = "it is not theirs to see"
	wordNothing  = "There is nothing here."
	wordNoPage   = "The address may be wrong, or what is there is not yours to see."
	wordTooLarge = "That is too large."
	wordMost     = "At most %d KiB can be sent at once."
	wordTooMany  = "Too many requests at once."
	wordTrouble  = "This does not work just now."
	wordTryAgain = "Load the page again in a minute."
	wordSentNot  = "What you sent may not be stored. Look before you send it again."
	wordElse     = "This page was asked for under a name that is not the board's."
	wordElseDo   = "Open it by the address that the service says at its start."
	wordForeign  = "This form was sent from another site, so nothing was stored."
	wordChanged  = "Something has changed since this page was loaded. Load it again when you have finished here."
	wordLost     = "The connection to the service is lost. This page may be out of date; it follows again by itself."
	wordSignIn   = "Sign in first."
	wordNotYours = "This is not yours to do."
	wordUnread   = "The form could not be read. Please send it again."
)

// Absent says which vehicles a page lacks.
func Absent(partitions []int, of int) string {
	if len(partitions) == 0 {
		return ""
	}
	return "This page is incomplete: " + english.Plural(len(partitions), "part") + " of " + english.Plural(of, "part") +
		" of the fleet did not answer in time. Their vehicles are not on it. Load the page again in a minute."
}
