package engine

import (
	"bytes"

	"telltale/engine/alarm"
)

// active counts the alarms that are active, by stage of rules and of tasks, 0 for none of
// them. It is kept in step with the records, since counting anew would read them all.
type active [2][len(alarm.RuleStages)]int

// add counts the alarms n times.
func (c *active) add(list []alarm.Alarm, n int) {
	for i := range list {
		c[kindOf(list[i].Task)][list[i].Stage] += n
	}
}

func kindOf(task bool) int {
	if task {
		return 1
	}
	return 0
}

// move counts one list in place of another. A list is never changed in place, so the
// same one is the same.
func (c *active) move(from, to []alarm.Alarm) {
	if len(from) == len(to) && (len(to) == 0 || &from[0] == &to[0]) {
		return
	}
	c.add(from, -1)
	c.add(to, 1)
}

// addStored counts the alarms of a stored record n times, by their stages alone: a start
// has a million records, and reading one takes twenty times as long. A quote within a text
// is escaped, so none holds what is looked for; the stories hold this to what Encode writes.
func (c *active) addStored(text []byte, n int) {
	at := bytes.LastIndex(text, []byte(`"alarms":[`))
	if at < 0 {
		return
	}
	const stage, ofTask = `"stage":`, `"task":true,`
	for rest := text[at:]; ; {
		i := bytes.Index(rest, []byte(stage))
		if i < 0 || i+len(stage) == len(rest) {
			return
		}
		kind := kindOf(bytes.HasSuffix(rest[:i], []byte(ofTask)))
		rest = rest[i+len(stage):]
		if s := int(rest[0] - '0'); s < len(c[0]) {
			c[kind][s] += n
		}
	}
}

// ActiveAlarms counts the alarms that are active, by stage; those of vehicles out of
// service and those put aside among them.
func (p *Partition) ActiveAlarms() map[alarm.Stage]int {
	out := map[alarm.Stage]int{}
	for kind, stages := range p.active {
		for stage, n := range stages[1:] {
			out[alarm.StageWords(kind == 1)[stage+1]] = n
		}
	}
	return out
}
