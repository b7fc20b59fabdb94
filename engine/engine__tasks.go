package engine

import (
	"math"
	"slices"
	"telltale/engine/interval"
)

// judgedTask is a task or follow-up that was judged.
type judgedTask struct {
	due
	calendar int64 // nextByCalendar, once the fold settles
}

// unsteady: a reading may move the due point, or take the stage back.
func (j *judgedTask) unsteady() bool {
	return j.due.waiting || j.due.asksFacts() || j.due.Stage == interval.Soon && j.due.Forecast
}

// judgeTasks finds each task's stage.
func (f *fold) judgeTasks() {
	list := f.applied().rules.Tasks
	f.judged, f.moves = slices.Grow(f.judged, len(list)+2), slices.Grow(f.moves, len(list)+5)
	for _, at := range list {
		d := f.reckon(at, lastPlace, math.MaxInt64)
		f.pullIn(&d)
		f.moveTask(d, AlarmKey{at.Task.Name, f.componentName(at.Component)})
	}
}

func (f *fold) moveTask(d due, k AlarmKey) {
	f.judged = append(f.judged, judgedTask{due: d})
	j := &f.judged[len(f.judged)-1]
	f.judgeDue(&j.due)
	f.move(alarmMove{AlarmKey: k, task: true, stage: j.Stage, due: len(f.judged)})
}

// judgeFollowUps finds the stage of every follow-up that was opened. Follow-ups
// are keyed by component and name; opening one that stands keeps the earlier point.
func (f *fold) judgeFollowUps() {
	f.eachFollowUp(func(d *due, k AlarmKey, stands bool) {
		if stands {
			f.moveTask(*d, k)
			return
		}
		title, end := d.title(), d.followUpEnd()
		f.move(alarmMove{AlarmKey: k, task: true, words: func(t *Transition, _, _ int) {
			t.Title, t.Message, t.Events = title, end, f.causeIDs()
		}})
	})
}
