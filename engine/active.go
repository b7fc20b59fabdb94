package engine

import (
	"bytes"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

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

// addStored counts the alarms of a stored record n times, without reading the rest of it.
// What cannot be read counts nothing: the record is found to be bad when it is asked for.
func (c *active) addStored(text []byte, n int) {
	const name = `"alarms":`
	// A quote within a text is escaped, so no text holds the name.
	at := bytes.LastIndex(text, []byte(name))
	if at < 0 {
		return
	}
	var list []struct {
		Task  bool `json:"task"`
		Stage int  `json:"stage"`
	}
	dec := jsontext.NewDecoder(bytes.NewReader(text[at+len(name):]))
	if json.UnmarshalDecode(dec, &list) != nil {
		return
	}
	for _, a := range list {
		if a.Stage >= 0 && a.Stage < len(c[0]) {
			c[kindOf(a.Task)][a.Stage] += n
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
