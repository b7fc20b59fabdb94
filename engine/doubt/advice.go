package doubt

import (
	"strings"

	"telltale/engine/event"
	"telltale/engine/judge"
	"telltale/engine/record"
	"telltale/rules/english"
)

// GoingBack is the data alarm of a meter that went back.
const GoingBack = "data: meter going back"

// BackAdvice names the usual causes of a meter that went back, each with what to do about
// it.
func BackAdvice(v *judge.View, c *record.Chain) string {
	of, b := english.Typed(v.Rec.Shown()), c.Backs[0]
	if !b.Open {
		wrong := b.Low
		if wrong.Accepted {
			wrong = b.High
		}
		return "The readings around it fit one another, so it was wrong. Acknowledge this, or take it out: telltale undo " + of + " " + english.Typed(wrong.ID.ID)
	}
	value := func(p record.Point) string { return v.Typed(p.Face, c.Hours) }
	on := v.DayOf(b.Low.At)
	return strings.Join([]string{
		"Look at the instrument.",
		"If it was replaced and that is not entered yet: telltale meter replaced " + of + " --meter " + english.Typed(c.Name) + " --old " + value(b.High) + " --new " + value(b.Low) + " --on " + on + ".",
		"If readings are wrong (miles sent as kilometres, two digits swapped, another vehicle's), take them out: telltale undo " + of + " " + english.Typed(b.Low.ID.ID) + ".",
		"If the lower readings are right for another reason: telltale answer " + of + ` "` + GoingBack + `" accept --by NAME`,
	}, " ")
}

// OddAdvice is what to do about values that are implausible, of those events; "" for none.
func OddAdvice(vehicle string, ids []event.ID) string {
	if len(ids) == 0 {
		return ""
	}
	return "Read the instrument again and send the right value. " + TakeOut(vehicle, ids)
}

// TakeOut is the command that takes a wrong entry out; of several one is enough to see how.
func TakeOut(vehicle string, ids []event.ID) string {
	if len(ids) == 0 {
		return ""
	}
	return "Take a wrong one out: telltale undo " + english.Typed(vehicle) + " " + english.Typed(ids[0].ID)
}
