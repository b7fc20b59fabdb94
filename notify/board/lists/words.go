package lists

import "fmt"

// The words of the lists' own: what they say of work and alarms stands in package wording.
const (
	wordWrongAsk    = "This address asks for something that does not exist."
	wordBeginAnew   = "Begin at the list's first page."
	wordNoRules     = "No rules are in force, so nothing can be due or wrong yet."
	wordRulesDo     = "Put the rule files into the folder that the service runs on, or let telltale init write a set to begin with."
	wordNoVehicles  = "No vehicle is registered yet."
	wordVehiclesDo  = "Write the vehicles into vehicles.yaml in the folder that the service runs on."
	wordNoMatch     = "Nothing here matches what you are looking for."
	wordNoneMatch   = "No vehicle matches what you are looking for."
	wordShowAll     = "Show all"
	wordStarting    = "The service is starting."
	wordStartingDo  = "It is still reading what was reported, so this list is not complete yet. Load the page again in a minute."
	wordNotKeeper   = "No vehicle is registered as yours."
	wordKeeperDo    = "Whoever keeps vehicles.yaml can write your name to a vehicle's people."
	wordNoneYours   = "No vehicle is yours to see yet."
	wordNoneYoursDo = "Whoever runs the service can write you into the rights of people.yaml."
	wordNothingBad  = "Nothing is to be stopped, overdue, to look at or due."
	wordNoneSaid    = "Nothing here from the parts of the fleet that answered."
	wordNothingIn   = "Nothing stands here."

	headData  = "About the readings and sheets themselves"
	wordSlow  = "This list is worked out afresh for each vehicle, so it needs a tag or one vehicle in a fleet of %s."
	wordOnOne = "A list for another day is made for one tag or one vehicle."
	wordLong  = "The list has %s lines, and a file has at most %s. Choose a tag or a stage first."
	wordCut   = "The first %s of %s lines. Choose a tag or a stage to print the rest."

	wordCutVehicles = "The first %s of %s vehicles. Choose a tag to print the rest."

	wordLocal = "The codes lead to %s, which this machine alone can reach. Print them for good once the board has the address at which people reach it."
)

func sprintf(format string, args ...any) string { return fmt.Sprintf(format, args...) }
