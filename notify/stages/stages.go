// Package stages names the stages of rules and tasks for people. The names are one small
// vocabulary for all that a person reads, in mails and on pages, which says what to do:
// stop, look, watch.
package stages

import "telltale/engine/alarm"

// Stage is how people are told of a stage of a rule or a task.
type Stage struct {
	// Severity orders stages, and rules' and tasks' stages among one another.
	Severity int
	// Weight is how much it stands out on a page, 0 to 3.
	Weight int
	// Head stands before a subject, and at the head of a block or a group.
	Head string
	// One and Many are the words after a count.
	One, Many string
	// Advise is what to do about a task; "" for rules, which have their own.
	Advise string
}

// Ahead is the head of work that is not due yet.
const Ahead = "Coming up"

var all = map[alarm.Stage]Stage{
	alarm.Warning:  {6, 3, "Stop", "to stop", "to stop", ""},
	alarm.Overdue:  {5, 3, "Overdue", "overdue", "overdue", "Book it in now."},
	alarm.Caution:  {4, 2, "Look", "to look at", "to look at", ""},
	alarm.Due:      {3, 2, "Due", "due", "due", "Book it in."},
	alarm.Advisory: {2, 1, "Watch", "to watch", "to watch", ""},
	alarm.Soon:     {1, 1, "Soon", "due soon", "due soon", "Plan it in."},
	alarm.Normal:   {0, 0, Ahead, "coming up", "coming up", ""},
}

// Of is how people are told of a stage; zero for one that there is none of.
func Of(s alarm.Stage) Stage { return all[s] }

// Head is the word for a stage, as badges and the headings of mails have it.
func Head(s alarm.Stage) string { return all[s].Head }

// Order is the order in which stages are counted.
var Order = [...]alarm.Stage{alarm.Warning, alarm.Overdue, alarm.Due, alarm.Soon, alarm.Caution, alarm.Advisory, alarm.Normal}
