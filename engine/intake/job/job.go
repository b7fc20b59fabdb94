// Package job makes the event of work that people typed, as options of a command or
// into the form behind a link. What they left out is filled in by the vehicle's
// registration and by what is due on it; what cannot be understood is an [*Error],
// so that whoever asked can say in its own words how to put it right.
package job

import (
	"crypto/sha256"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/why"
	"telltale/rules/unit"
)

// Job is one job as it was typed; quantities stand with their units, as 4L.
type Job struct {
	Vehicle string
	Tasks   []string
	Said    map[string]string // not nil; by the path of the field in the event's data; any text of what is so
	Meters  []Meter
}

// Meter is what a meter showed, and the option that it was given by.
type Meter struct{ Name, Option, Text string }

// The options that do not name their meter: where none is named so, the only one that
// counts distance or hours is meant.
const (
	Odometer = "odometer"
	Hours    = "hours"
)

// Known is what the service knows of the vehicle, and of the time.
type Known struct {
	Registered *event.VehicleData
	Has        []why.Why // its rules and tasks
	Now        time.Time
	Latest     time.Time // the latest moment that an event may have
}

// Fault is what sort of thing keeps a job from being an event.
type Fault uint8

// The faults.
const (
	NoSuchName        Fault = iota + 1 // of a task or component
	SeveralComponents                  // the tasks are kept for; it must be said whose fluid it was
	NoComponents                       // are registered, but fluid was exchanged
	NoComponentSaid                    // of which fluid was exchanged
	NoMeter                            // counts what was given
	SeveralMeters                      // count it
	NoQuantity                         // with a unit of the kind
	NoDate                             // nor a time
	NotYet                             // a moment that has not come
)

// Error is what keeps a job from being an event.
type Error struct {
	Fault  Fault
	Option string    // that is wrong, with which the text begins; "" for what does not hang on one
	Name   string    // that nothing has
	Have   []string  // the names that there are
	Kind   unit.Kind // of the quantity that is wanted
	text   string
}

// Error says what is wrong.
func (e *Error) Error() string { return e.text }

// Event is the job's event, checked, of work done on a moment as it is typed; now
// where that is empty. What was left out is filled in, in Said too. Its identity is
// made of what it says, the moment included, so that the same typed again with its
// moment is the same job.
func (j Job) Event(on string, k Known) (ev event.Event, err error) {
	at, err := k.when(on)
	if err != nil {
		return ev, err
	}
	names := Tasks(k.Has)
	for _, t := range j.Tasks {
		if !slices.Contains(names, t) {
			return ev, &Error{Fault: NoSuchName, Name: t, Have: names, text: fmt.Sprintf("%s has no task %q", j.Vehicle, t)}
		}
	}
	if j.Said["component"], err = j.component(k); err != nil {
		return ev, err
	}
	if c := k.Registered.ComponentNamed(j.Said["component"]); c != nil && j.Said["fluid.name"] == "" && j.exchanged() {
		j.Said["fluid.name"] = c.Fluid
	}
	ev = event.Event{ID: event.ID{Source: "/record", ID: "unnamed"}, Kind: event.ServiceEvent, Vehicle: j.Vehicle, Time: at, Recorded: at}
	if ev.Data, err = j.Data(k.Registered.Meters); err != nil {
		return ev, err
	}
	text, err := intake.Encode(ev)
	if err != nil {
		return ev, err
	}
	sum := sha256.Sum256(text)
	ev.ID.ID = fmt.Sprintf("%s-%x", j.Vehicle, sum[:8])
	return intake.Checked(ev)
}

// Data is what the event says, as typed and no more, of a vehicle with these meters.
func (j Job) Data(meters []event.MeterDef) (*event.ServiceData, error) {
	d := &event.ServiceData{Tasks: j.Tasks, Meters: map[string]unit.Quantity{}}
	for _, m := range j.Meters {
		name, kind, err := j.meter(m, meters)
		if err != nil {
			return nil, err
		}
		q, err := quantity(m.Option, m.Text, kind)
		if err != nil {
			return nil, err
		}
		d.Meters[name] = *q
	}
	for _, f := range intake.Fields(event.ServiceEvent) {
		text := j.Said[f.Path]
		if text == "" {
			continue
		}
		var err error
		switch at := f.In(d).(type) {
		case *string:
			*at = text
		case *bool:
			*at = true
		case **unit.Quantity:
			*at, err = quantity(f.Option, text, f.Units[0])
		}
		if err != nil {
			return nil, err
		}
	}
	return d, nil
}

func quantity(option, text string, kind unit.Kind) (*unit.Quantity, error) {
	q, err := unit.Parse(text)
	if _, other := q.As(kind); err != nil || other != nil {
		return nil, &Error{Fault: NoQuantity, Option: option, Kind: kind, text: fmt.Sprintf("%s %q is not %s with its unit", option, text, kind)}
	}
	return &q, nil
}

// exchanged reports whether something is said of fluid, if only that some was topped up.
func (j Job) exchanged() bool {
	fluid := func(path string) bool {
		return (strings.HasPrefix(path, "fluid.") || path == "toppedUp") && j.Said[path] != ""
	}
	return slices.ContainsFunc(slices.Collect(maps.Keys(j.Said)), fluid)
}

// component is the one that was named, or the only one that the tasks are kept for.
func (j Job) component(k Known) (string, error) {
	var all, kept []string
	for _, c := range k.Registered.Components {
		all = append(all, c.Name)
	}
	if name := j.Said["component"]; name != "" {
		if !slices.Contains(all, name) {
			return "", &Error{Fault: NoSuchName, Name: name, Have: all, text: fmt.Sprintf("%s has no component %q", j.Vehicle, name)}
		}
		return name, nil
	}
	for _, y := range k.Has {
		if y.Component != "" && slices.Contains(j.Tasks, y.Rule) && y.Due != nil && !slices.Contains(kept, y.Component) {
			kept = append(kept, y.Component)
		}
	}
	switch {
	case len(kept) == 1:
		return kept[0], nil
	case !j.exchanged():
		return "", nil
	case len(kept) > 1:
		return "", &Error{Fault: SeveralComponents, Have: kept, text: "the task is kept for several components: " + strings.Join(kept, ", ")}
	case len(all) == 0:
		return "", &Error{Fault: NoComponents, text: j.Vehicle + " has no components in the register, so the fluid is nobody's"}
	}
	return "", &Error{Fault: NoComponentSaid, Have: all, text: "fluid was exchanged, but not said of what"}
}

// meter is the name in the register of the meter that is meant, and what it counts.
func (j Job) meter(m Meter, have []event.MeterDef) (string, unit.Kind, error) {
	kind, counts := unit.Distance, "distance"
	i := slices.IndexFunc(have, func(d event.MeterDef) bool { return d.Name == m.Name })
	if m.Option == Hours || m.Option != Odometer && i >= 0 && have[i].Kind == "hours" {
		kind, counts = unit.Time, "hours"
	}
	if i >= 0 || len(have) == 0 || m.Option != Odometer && m.Option != Hours {
		return m.Name, kind, nil
	}
	var all []string
	for _, d := range have {
		if d.Kind == counts {
			all = append(all, d.Name)
		}
	}
	switch len(all) {
	case 1:
		return all[0], kind, nil
	case 0:
		return "", kind, &Error{Fault: NoMeter, text: fmt.Sprintf("%s has no meter that counts %s", j.Vehicle, counts)}
	}
	return "", kind, &Error{Fault: SeveralMeters, Have: all, text: fmt.Sprintf("%s has several meters that count %s", j.Vehicle, counts)}
}

// Tasks are the names of the tasks and follow-ups among what a vehicle has.
func Tasks(has []why.Why) []string {
	names := []string{}
	for i := range has {
		if y := &has[i]; y.Due != nil && !slices.Contains(names, y.Rule) {
			names = append(names, y.Rule)
		}
	}
	return names
}

// when is the moment of the job, in the vehicle's zone. A date alone is its noon, so
// that it is that day's wherever it is read.
func (k Known) when(on string) (time.Time, error) {
	if on == "" {
		return k.Now.UTC().Truncate(time.Second), nil
	}
	for _, form := range []string{time.DateOnly, "2006-01-02T15:04", "2006-01-02 15:04", time.RFC3339} {
		t, err := time.ParseInLocation(form, on, k.Registered.Location())
		if err != nil {
			continue
		}
		if form == time.DateOnly {
			t = t.Add(12 * time.Hour)
		}
		if t.After(k.Latest) {
			return t, &Error{Fault: NotYet, Option: "on", text: fmt.Sprintf("on %s is still to come", on)}
		}
		return t.UTC(), nil
	}
	return k.Now, &Error{Fault: NoDate, Option: "on", text: fmt.Sprintf("on %q is not a date", on)}
}
