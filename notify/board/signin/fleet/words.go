package fleet

// What the pages say.
const (
	wordAway      = "The fleet's own sign-in does not answer as it should."
	wordAwayDo    = "Try again in a minute. If it stays so, tell whoever runs it."
	wordRefused   = "The fleet's own sign-in did not let you in."
	wordRefusedDo = "Try again, or ask whoever runs it."
	wordOver      = "This sign-in was used already, is older than 10 minutes, or was begun in another browser."
	wordOverDo    = "Begin again from the page on which you sign in."
	wordUnknown   = "You are signed in there, but people.yaml names nobody by that account."
	wordUnknownDo = "Ask whoever runs Telltale to write this beside your name in people.yaml: subject: %q"
)
