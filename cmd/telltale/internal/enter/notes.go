package enter

import (
	"cmp"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/rules/english"
)

// notes are what of an entry is not used or not believed, with what to do.
func notes(ev *event.Event, e *engine.WouldEntry, of engine.Would, dry bool) (out []string) {
	for i := range e.NotUsed {
		out = append(out, "note: "+e.NotUsed[i].Refused)
	}
	for _, d := range e.Doubts {
		out = append(out, "doubtful: "+d)
	}
	if len(e.Doubts) > 0 {
		out = append(out, "  "+whatToDo(ev, of, dry))
	}
	return out
}

// whatToDo is what to do about a meter value that is doubted.
func whatToDo(ev *event.Event, of engine.Would, dry bool) string {
	mend := "take it back: " + undoCall(ev)
	if dry {
		mend = "correct it"
	}
	do := "If it is a typing error, " + mend
	meter, value := follows.ShownBy(ev)
	if meter == "" {
		return do
	}
	said, old := follows.Said(of), "…"
	value = value.In(said)
	for i := range of.Tasks {
		for _, l := range of.Tasks[i].Due.Limits {
			if l.Meter != nil && l.Meter.Name == meter && l.Meter.Read != nil {
				old = follows.Typed(*follows.In(l.Meter.Read, cmp.Or(said.Distance, follows.SpokenIn(ev))))
			}
		}
	}
	if old == follows.Typed(value) {
		return do
	}
	return do + ". If the instrument was replaced: telltale meter replaced " + english.Typed(ev.Vehicle) + " --meter " + english.Typed(meter) + " --old " + old + " --new " + follows.Typed(value)
}

// undoCall is the command that takes an entry out.
func undoCall(ev *event.Event) string {
	return "telltale undo " + english.Typed(ev.Vehicle) + " " + english.Typed(ev.ID.ID)
}
