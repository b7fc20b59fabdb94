package notify

import "telltale/engine/alarm"

// stage is how messages name a stage of a rule or a task.
type stage struct {
	severity  int    // orders stages, and rules' and tasks' stages among one another
	weight    int    // how much it stands out on the page, 0 to 3
	head      string // at the head of a block or a group
	noun      string // inside a sentence
	one, many string // counted
	advise    string // what to do about a task
}

var byStage = map[alarm.Stage]stage{
	alarm.Warning:  {6, 3, "Warning", "a warning", "warning", "warnings", ""},
	alarm.Overdue:  {5, 3, "Overdue", "overdue", "overdue", "overdue", "Book it in now."},
	alarm.Caution:  {4, 2, "Caution", "a caution", "caution", "cautions", ""},
	alarm.Due:      {3, 2, "Due", "due", "due", "due", "Book it in."},
	alarm.Advisory: {2, 1, "Advisory", "an advisory", "advisory", "advisories", ""},
	alarm.Soon:     {1, 1, "Soon", "due soon", "due soon", "due soon", "Plan it in."},
	alarm.Normal:   {0, 0, "", "normal", "coming up", "coming up", ""},
}

// countOrder is the order in which stages are counted.
var countOrder = [...]alarm.Stage{alarm.Warning, alarm.Overdue, alarm.Due, alarm.Soon, alarm.Caution, alarm.Advisory, alarm.Normal}
