// Package wording says work and alarms as people read them: where a task stands, what to do
// first, what was found, what to mind. Mails, lists and pages have their sentences from
// here, so that they say the same.
//
// A [Reader] writes them in somebody's units, dates and spelling. What is handed to it is
// worded first ([Reader.Said], [Reader.SaidOf]): what is stored has its quantities as marks.
package wording

// The sentences are plain and short: the number, the limit, the comparison, what to do, by
// when, what to mind. No blame, no exclamation marks.
const (
	// StandingNote stands on all that asks for work.
	StandingNote = "The maker's instructions, local law and the judgement of a licensed mechanic come before anything written here."
	// StopFirst is what to do first of all about a warning.
	StopFirst = "Stop: have this inspected before the vehicle is used again."
	// RecordedDone ends a task.
	RecordedDone = "Recorded as done. Nothing more to do."
	// NothingDue stands where a list has no line.
	NothingDue = "Nothing is due, and no alarm is active."

	// HeadMind and HeadReady stand over what to mind and what to have ready, HeadCounts
	// over how many there are of what, HeadWorst over the worst of many.
	HeadMind   = "Safety"
	HeadReady  = "Have ready"
	HeadCounts = "Counts"
	HeadWorst  = "The worst first"
	// LabelNext stands before where a task stands next, LabelFleet before how many vehicles
	// there are, LabelService before what concerns the service itself.
	LabelNext    = "Next"
	LabelFleet   = "The fleet"
	LabelService = "The service"

	takenBack       = "The data behind the earlier message was withdrawn. Please ignore that message."
	backToNormal    = "Back within limits. Nothing more to do."
	notDueNow       = "Not due for now."
	notInTime       = "Too late to be useful, so it was removed from the list."
	byLaw           = "This is required by law: check whether the vehicle may be used before it is done."
	alreadyPast     = "Probably already past %s (about %s). Please read the %s."
	notAcknowledged = "Nobody has acknowledged it yet."
	alsoMind        = "Also, explained in full earlier today"
	alreadyMind     = "Explained in full earlier today"
	groupStop       = "Stop these first"
	groupLook       = "Look at these"
	groupWatch      = "Keep an eye on"
)
