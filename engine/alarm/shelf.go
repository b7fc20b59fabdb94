package alarm

import (
	"time"

	"telltale/engine/event"
)

// The most days for which an alarm is put aside, by its stage: the worse, the shorter.
// ISA-18.2 asks for a limit and gives none; the figures are common practice, no source.
var (
	ruleShelf = [len(RuleStages)]int{0, 180, 90, 7}
	taskShelf = [len(TaskStages)]int{0, 180, 90, 30}
)

// ShelfDays is for how many days an alarm of that stage is put aside at most; 0 where there
// is nothing to put aside.
func ShelfDays(s Stage) int {
	for i := range RuleStages {
		switch s {
		case RuleStages[i]:
			return ruleShelf[i]
		case TaskStages[i]:
			return taskShelf[i]
		}
	}
	return 0
}

// Shelve puts it aside until a time, RFC 3339, and gives until when that is: no longer than
// the stage allows. Who asks for more is not refused, since the alarm is back before then
// and not after. A warning takes somebody's name and a reason; others are known by where
// the answer came from.
func (a *Alarm) Shelve(d *event.AnswerData, now time.Time, by event.ID) (until time.Time, err error) {
	until, err = time.Parse(time.RFC3339, d.Until)
	stage := a.StageName(a.Stage)
	last := now.AddDate(0, 0, ShelfDays(stage))
	switch {
	case err != nil:
		return until, event.Refuse("until %q is not a time like 2031-03-20T08:05:00Z", d.Until)
	case a.Stage == 0:
		return until, event.Refuse("%q is back to normal: there is nothing to put aside", a.Rule)
	case !until.After(now):
		return until, event.Refuse("until %s is in the past", d.Until)
	case stage == Warning && d.By == "":
		return until, event.Refuse("a warning is put aside only with a name: add `by`")
	case stage == Warning && d.Why == "":
		return until, event.Refuse("a warning is put aside only for a reason: add `why`")
	case until.After(last):
		until = last
	}
	a.ShelvedUntil, a.ShelvedAt, a.ShelvedBy = until.Unix(), a.Stage, by
	return until, nil
}
