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
