package alarm

// Stage is how bad an alarm is, as people and JSON have it.
type Stage string

// The stages: of tasks, and of rules, which are graded as 14 CFR 25.1322 grades alerts:
// know it, act on it later, act now.
const (
	Normal Stage = "normal"

	Soon    Stage = "soon"
	Due     Stage = "due"
	Overdue Stage = "overdue"

	Advisory Stage = "advisory"
	Caution  Stage = "caution"
	Warning  Stage = "warning"
)

// TaskStages are the stages of tasks by number.
var TaskStages = [...]Stage{Normal, Soon, Due, Overdue}

// RuleStages are the stages of rules by number.
var RuleStages = [...]Stage{Normal, Advisory, Caution, Warning}

// StageWords are the stages by number, of tasks or of rules.
func StageWords(task bool) []Stage {
	if task {
		return TaskStages[:]
	}
	return RuleStages[:]
}

// Standing is what people know of an alarm, in the terms of ISA-18.2 and IEC 62682.
type Standing string

// The standings.
const (
	StandsNormal   Standing = "normal"
	Unacknowledged Standing = "unacknowledged"
	Acknowledged   Standing = "acknowledged"
	Returned       Standing = "returned" // cleared, and nobody has said that they know
	Shelved        Standing = "shelved"
	OutOfService   Standing = "out of service"
)

// Change is what a transition is called.
type Change string

// The changes. Those of the stage come first, then those that people bring about.
const (
	Raised    Change = "raised"
	Worsened  Change = "worsened"
	Eased     Change = "eased"
	Cleared   Change = "cleared"
	Withdrawn Change = "withdrawn" // what it rested on is gone

	NowAcknowledged Change = "acknowledged"
	NowShelved      Change = "shelved"
	Unshelved       Change = "unshelved"

	NotJudgedAs Change = "not judged" // no change: the rule lacked something
)
