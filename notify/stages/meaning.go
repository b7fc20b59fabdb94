package stages

import "telltale/engine/alarm"

// Meaning is what a stage asks of people. Those of rules are graded as 14 CFR 25.1322
// grades alerts: know it, act on it later, act now.
func Meaning(s alarm.Stage) string { return meanings[s] }

var meanings = map[alarm.Stage]string{
	alarm.Warning:  "Act now: stop, and have it inspected before the vehicle is used again.",
	alarm.Caution:  "Have it looked at soon, as the alarm says.",
	alarm.Advisory: "Know of it, and watch it.",
	alarm.Overdue:  "The work is past its due point by more than its tolerance.",
	alarm.Due:      "The work has come to its due point.",
	alarm.Soon:     "The work will be due before long.",
	alarm.Normal:   "Nothing to do.",
}

// Standing is what people know of an alarm, and what that means.
type Standing struct {
	alarm.Standing
	Meaning string
}

// Standings are all of them, in the terms of ISA-18.2 and IEC 62682.
var Standings = []Standing{
	{alarm.Unacknowledged, "It is active, and nobody has said yet that they know. Reminders go on until somebody does."},
	{alarm.Acknowledged, "It is active, and somebody has said that they know."},
	{alarm.Returned, "It is over, and nobody has said that they knew of it."},
	{alarm.Shelved, "It is put aside until a day: active, but not told until then. It is told at once if it gets worse."},
	{alarm.OutOfService, "The vehicle is out of service, so nothing is told of it. All of it is judged when it is back."},
	{alarm.StandsNormal, "Nothing stands."},
}

// Change is what can happen to an alarm, and what that means.
type Change struct {
	alarm.Change
	Meaning string
}

// Changes are all of them: those of the stage first, then those that people bring about.
var Changes = []Change{
	{alarm.Raised, "It became active."},
	{alarm.Worsened, "Its stage got worse."},
	{alarm.Eased, "Its stage got better, and it is still active."},
	{alarm.Cleared, "It is over: back within limits, or the work is done."},
	{alarm.Withdrawn, "What it rested on was taken back, so it should not have been."},
	{alarm.NowAcknowledged, "Somebody said that they know."},
	{alarm.NowShelved, "Somebody put it aside until a day."},
	{alarm.Unshelved, "It is no longer put aside."},
}
