package pair

// The words of pairing.
const (
	wordTablet   = "Pair this tablet"
	wordTabletIs = "A workshop's tablet is nobody's own, so nobody signs in on it. It shows six digits, which somebody who runs the service types in on another device."
	wordIsPaired = "This tablet is paired as %s. Pair it again only to make it another."
	wordReady    = "This tablet is let in"
	wordReadyIs  = "It is called %s, and may do what people.yaml says of %q."
	wordMany     = "Too many tablets wait to be paired."
	wordManyDo   = "Try again in some minutes."
	wordTaken    = "A tablet of that name is paired already. Have it signed out first, then pair this one again."

	wordType     = "Pair a tablet"
	wordTypeLead = "On the tablet, open the board's page for signing in, and press “This is a workshop's tablet”. It shows six digits."
	wordIsItThis = "Is it this tablet?"
	wordThis     = "It is %s. It has shown the digits since %s, and is reached from %s. Go on only if you see the digits on it."
	wordNone     = "people.yaml says of nothing that a tablet can have. Write an entry of rights like this one, with somebody in it who is no operator:"
	wordDone     = "The tablet %s is let in. Press the button that it shows now."

	wordDigits   = "The six digits"
	wordSix      = "these are the six digits that the tablet shows"
	wordWrong    = "no tablet shows these digits. They change after ten minutes: look again"
	wordTries    = "that was tried too often. Try again in %s"
	wordGone     = "The tablet is no longer waiting. Press the button on it for new digits."
	wordLetters  = "write it in small letters, digits and hyphens, like north-bay-2"
	wordIDTaken  = "a tablet of that id is signed in. Sign it out first, or write another"
	wordNowhere  = "an unknown address"
	mostName     = 60
	mostID       = 40
	wordIDHint   = "Under it the tablet's entries are kept. Left empty, it is made of the name."
	wordNameHint = "As people call it, like North bay 2."
)
