package engine

import (
	"fmt"
	"slices"
)

// NotTheirs is the data alarm of a vehicle of which someone hears says that it is
// not theirs. It stands while the register names that person, or else until it is
// acknowledged: then the list of people is what had to be put right.
const NotTheirs = "data: not their vehicle"

// disowned is one who said so.
type disowned struct {
	By    string `json:"by"`
	ID    ID     `json:"id"`              // of the answer
	Named bool   `json:"named,omitempty"` // by the register, when they said so
}

// keptDisowned bounds those of one vehicle.
const keptDisowned = 8

// disown notes that a vehicle is not someone's.
func (f *fold) disown(d *AnswerData) error {
	said := func(o disowned) bool { return o.By == d.By }
	if slices.ContainsFunc(f.rec.NotTheirs, said) {
		return Refuse("%s has said so already", d.By)
	}
	if len(f.rec.NotTheirs) >= keptDisowned {
		return Refuse("%d people have said already that vehicle %s is not theirs", keptDisowned, f.rec.Vehicle)
	}
	f.rec.NotTheirs = append(slices.Clip(f.rec.NotTheirs), disowned{d.By, f.ev.ID, f.named(d.By)})
	f.change.Fact = true
	return nil
}

// seenTo forgets who is not named by the register, once someone has acknowledged.
func (f *fold) seenTo() {
	f.dropDisowned(func(o disowned) bool { return !f.named(o.By) })
	f.change.Fact = true
}

func (f *fold) dropDisowned(drop func(disowned) bool) {
	f.rec.NotTheirs = slices.DeleteFunc(slices.Clone(f.rec.NotTheirs), drop)
}

func (f *fold) named(person string) bool {
	reg := f.rec.registered()
	return reg != nil && slices.Contains(reg.People, person)
}

// judgeDisowned raises the alarm; a registration that leaves out whoever it named
// ends it.
func (f *fold) judgeDisowned() {
	if len(f.rec.NotTheirs) == 0 && f.rec.alarm(AlarmKey{Rule: NotTheirs}) < 0 {
		return
	}
	if f.ev.Kind == VehicleEvent {
		f.dropDisowned(func(o disowned) bool { return o.Named && !f.named(o.By) })
	}
	var texts []string
	var ids []ID
	for _, o := range f.rec.NotTheirs {
		texts, ids = append(texts, fmt.Sprintf("%s says that this vehicle is not theirs", o.By)), append(ids, o.ID)
	}
	f.dataMove(NotTheirs, texts, ids, "Look at who the register and people.yaml name for it.", "Who hears of it was put right")
}
