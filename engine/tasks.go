package engine

import (
	"math"
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/interval"
	"telltale/engine/judge"
	"telltale/engine/record"
)

// judgedTask is a task or follow-up that was judged.
type judgedTask struct {
	judge.Due
	calendar int64 // nextByCalendar, once the fold settles
}

// unsteady: a reading may move the due point, or take the stage back.
func (j *judgedTask) unsteady() bool {
	return j.Due.Waiting || j.Due.AsksFacts() || j.Due.Stage == interval.Soon && j.Due.Forecast
}

// judgeTasks finds each task's stage.
func (f *fold) judgeTasks() {
	list := f.Applied().Rules.Tasks
	f.judged, f.moves = slices.Grow(f.judged, len(list)+2), slices.Grow(f.moves, len(list)+5)
	for _, at := range list {
		d := f.Reckon(at, record.LastPlace, math.MaxInt64)
		f.PullIn(&d)
		f.moveTask(d, f.Key(at.Task.Name, at.Component))
	}
}

func (f *fold) moveTask(d judge.Due, k alarm.Key) {
	f.judged = append(f.judged, judgedTask{Due: d})
	j := &f.judged[len(f.judged)-1]
	f.JudgeDue(&j.Due)
	f.move(alarmMove{Key: k, task: true, stage: j.Stage, due: len(f.judged)})
}

// judgeFollowUps finds the stage of every follow-up that was opened. Follow-ups
// are keyed by component and name; opening one that stands keeps the earlier point.
func (f *fold) judgeFollowUps() {
	f.EachFollowUp(func(d *judge.Due, k alarm.Key, stands bool) {
		if stands {
			f.moveTask(*d, k)
			return
		}
		title, end := d.Title(), d.FollowUpEnd()
		f.move(alarmMove{Key: k, task: true, words: func(t *alarm.Transition, _, _ int) {
			t.Title, t.Message, t.Events = title, end, f.causeIDs()
		}})
	})
}
