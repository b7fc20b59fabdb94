package sheet

// The words of these pages. What is said of a sheet stands in engine/sample, as the
// terminal and mails have it.
const (
	wordRetired   = "This vehicle is retired, so its samples are no longer judged. They are in its history."
	wordNoRules   = "No rules are in force, so no sample is judged."
	wordNone      = "No sample of the %s has come yet."
	wordEarlier   = "There is a later sample. This one is read by the rules in force now, with the samples and the work up to it. What people were told of it then is in the history."
	wordCorrected = "This is a corrected report, revision %d; the one before counts no longer."
	wordLimits    = "Limits, times the baseline: %s."
	wordLeft      = "%s in the picture alone."
	wordKept      = "Only the latest %d are judged. Older ones are in the history."
)

// What the form asks and asks back.
const (
	wordWhich        = "Of which component is the sample?"
	wordNoComponents = "This vehicle has no components in the register, so a sample belongs to none of them."
	wordAgain        = "sheet %s of %s is there already: tick that this is a corrected report, or write another number"
	wordTwice        = "sheet %s of %s is there already, from %s. If this is the same sheet or a correction of it, take that one back first: both would count"
	wordCorrectsNone = "you entered no sheet of number %s for this component before, so this corrects none"
	wordUnread       = "this result would be kept, but not judged: %s"
	wordFar          = "that is far from all before: the %s %s %s. Please check the number, its decimal mark and its unit"
	wordNotLatest    = "There is a later sample, which stays the one to go by."
)
