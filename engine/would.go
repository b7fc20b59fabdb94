package engine

import (
	"slices"

	"telltale/engine/alarm"
	"telltale/engine/doubt"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/sample"
	"telltale/engine/why"
)

// Would is what would follow of some entries for a vehicle.
type Would struct {
	Vehicle string       `json:"vehicle"`
	Entries []WouldEntry `json:"entries"` // in the order in which they were asked after
	// Tasks are the vehicle's tasks and follow-ups as they would stand behind all entries,
	// Due what would be due.
	Tasks []why.Why  `json:"tasks,omitempty"`
	Due   []due.Item `json:"due,omitempty"`
	// Reads are the units in which people read of the vehicle, as far as its registration or
	// whoever asked names them.
	Reads []string `json:"reads,omitempty"`
	// Out: the vehicle would be out of service.
	Out bool `json:"out,omitempty"`
	// Verdicts read the sheets that the entries bring, as each would read; of a component of
	// which they bring several the latest.
	Verdicts []sample.Verdict `json:"verdicts,omitempty"`
}

// WouldEntry is what would become of one entry.
type WouldEntry struct {
	Event event.ID `json:"event"`
	// Known: the record holds it already, so nothing would follow.
	Known bool `json:"known,omitempty"`
	// TakenOut: an entry of this identity was taken out, so this one would count for
	// nothing.
	TakenOut bool `json:"takenOut,omitempty"`
	// Nothing: it is to take out an entry that the record does not hold.
	Nothing bool `json:"nothing,omitempty"`
	// Refused is why it would not be taken; nil where it would.
	Refused *alarm.Refusal `json:"refused,omitempty"`
	// NotUsed are the parts of it that would not be used, and why.
	NotUsed []alarm.Refusal `json:"notUsed,omitempty"`
	// Doubts are meter values of it that would not be believed, and why.
	Doubts  []string           `json:"doubts,omitempty"`
	Follows []alarm.Transition `json:"follows,omitempty"`
}

// Would folds entries, one after the other, into a copy of the vehicle's record and
// gives back what would follow. The record stays as it is. Ticks among the entries move
// the copy's clock and have no entry of their own.
func (p *Partition) Would(vehicle string, entries []event.Event) Would {
	return p.AskedBy(p.By).Would(vehicle, entries)
}

// Would is [Partition.Would] in the asker's units.
func (a Asked) Would(vehicle string, entries []event.Event) Would {
	out := Would{Vehicle: vehicle, Entries: []WouldEntry{}}
	trial, err := a.trial(vehicle)
	trial.By = a.by
	for _, ev := range entries {
		switch {
		case err != nil:
			out.Entries = append(out.Entries, WouldEntry{Event: ev.ID, Refused: a.refused(ev, err)})
		case ev.Kind == event.TickEvent:
			trial.Apply(ev)
		default:
			out.Entries = append(out.Entries, trial.wouldBe(ev))
		}
	}
	if err != nil {
		return out
	}
	trial.AskedBy(a.by).doubt(vehicle, out.Entries)
	if r := trial.record(vehicle); r != nil {
		out.Out, out.Reads = r.Out, trial.AskedBy(a.by).view(r).Said().Names()
	}
	out.Tasks = slices.DeleteFunc(trial.Why(vehicle, ""), func(y why.Why) bool { return y.Due == nil })
	out.Due = trial.Due(due.Query{Vehicle: vehicle})
	for _, component := range sampled(entries) {
		out.Verdicts = append(out.Verdicts, trial.brought(vehicle, component, entries)...)
	}
	return out
}

// sampled are the components that a sheet among the entries is of.
func sampled(entries []event.Event) (out []string) {
	for _, ev := range entries {
		if d, ok := ev.Data.(*event.SampleData); ok && !d.ByHand() && !slices.Contains(out, d.Component) {
			out = append(out, d.Component)
		}
	}
	return out
}

// brought reads the only sheet of a component that the entries bring; the latest where there
// are several, or where it counts no more.
func (p *Partition) brought(vehicle, component string, entries []event.Event) []sample.Verdict {
	var of []event.Event
	for _, ev := range entries {
		if d, ok := ev.Data.(*event.SampleData); ok && d.Component == component {
			of = append(of, ev)
		}
	}
	if len(of) == 1 {
		for _, v := range p.AskedBy(p.By).Numbered(vehicle, component, of[0].Data.(*event.SampleData).Number) {
			if v.Sample.Source == of[0].ID.Source {
				return []sample.Verdict{v}
			}
		}
	}
	return p.Verdicts(vehicle, component)
}

// trial is a partition with a copy of one vehicle's record, by the same book, baselines
// and clock.
func (a Asked) trial(vehicle string) (*Partition, error) {
	t := NewPartition()
	t.Restore(a.law.Now, a.law.Book)
	t.RestoreBaselines(a.Baselines())
	if a.record(vehicle) == nil || !a.Sight.Sees(a.record(vehicle).card) {
		return t, nil
	}
	text, err := a.Encode(vehicle)
	if err == nil {
		err = t.Load(vehicle, text)
	}
	if err == nil {
		t.record(vehicle)
		err = t.Err()
	}
	return t, err
}

func (p *Partition) wouldBe(ev event.Event) WouldEntry {
	e := WouldEntry{Event: ev.ID}
	if r := p.record(ev.Vehicle); r != nil {
		e.Known, e.TakenOut = r.Seen(ev.ID) != nil, r.Voided(ev.ID)
		if d, ok := ev.Data.(*event.VoidData); ok {
			e.Nothing = r.Seen(event.ID(*d)) == nil
		}
	}
	for _, o := range p.Apply(ev) {
		switch {
		case o.Transition != nil:
			e.Follows = append(e.Follows, *o.Transition)
		case o.Refused != nil && o.Refused.Kept:
			e.NotUsed = append(e.NotUsed, *o.Refused)
		case o.Refused != nil:
			e.Refused = o.Refused
		}
	}
	return e
}

// doubt notes which of the entries' meter values are not believed, beside one another
// and the record's own.
func (a Asked) doubt(vehicle string, entries []WouldEntry) {
	v := a.known(vehicle)
	if v == nil {
		return
	}
	doubts := doubt.Of(v)
	for i := range entries {
		entries[i].Doubts = doubts[entries[i].Event]
	}
}
