package trail

// The words of this room. What an entry says stands in engine/stream/audit.
const (
	wordLead       = "Who signed in, entered, saved a file or was refused, the latest first. It is kept for 400 days, and nobody can change it."
	wordNothing    = "Nothing was done yet."
	wordNoneOfThem = "Nobody did what you ask for."
	wordNone       = "This service keeps no list of who did what."
	wordNoDay      = "The day is not understood: write it as 2031-06-06."
)
