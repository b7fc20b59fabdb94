package vehicle

// The words of these pages that no mail has.
const (
	wordNoAnswer   = "This vehicle cannot be shown just now."
	wordNoAnswerDo = "Its part of the fleet did not answer in time. Nothing is lost. Load the page again in a minute."
	wordStranger   = "Nobody has registered this vehicle."
	wordStrangerDo = "What it sends is kept for 90 days, but nothing is judged until it is in the register (vehicles.yaml)."

	wordNoRules  = "No rules are in force, so no work is kept for it and nothing is judged."
	wordRetired  = "It is retired: nothing is judged any more."
	wordOut      = "Out of service since %s. Until it is back it is on no list, and nobody is told of it."
	wordWhenBack = "This is what would be due if it were in service."
	wordNothing  = "Nothing is due, and no alarm is active."
	wordOK       = "OK"
	wordReturned = "Back to normal. Nobody has said that they know of it."
	wordAside    = "Put aside until %s."

	wordNormal   = "Normal"
	wordNoRule   = "Nothing of that name is kept for this vehicle."
	wordNoRuleDo = "The rules may have changed since the link was made. The vehicle's page has all that is kept now."
	wordParts    = "It is kept for %s of this vehicle."

	wordHistory   = "What was done, measured and found, the latest first, and where each of it comes from."
	wordNoEntries = "There is nothing of this kind."
	wordEvents    = "Every event of the last seven days, as it came in, the latest first."
	wordNotYours  = "This is not yours to see."
	wordOperators = "What gateways and programs sent is shown to the operators of the service."

	wordUnread  = "not read yet"
	wordUnused  = "not known yet: too few readings"
	wordUntold  = "It has gone back, and nobody has said why. How far it has run since cannot be told."
	wordSilent  = "The %s has not been read since %s. That is longer than usual for this vehicle."
	wordChanged = "Replaced on %s: the old one showed %s, the new one began at %s."
	wordMore    = "And %s."
)
