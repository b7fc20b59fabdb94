// Package job makes the event of work that people typed, as options of a command or
// into the form behind a link. What they left out is filled in by the vehicle's
// registration and by what is due on it; what cannot be understood is an [*Error],
// so that whoever asked can say in its own words how to put it right.
package job

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// Job is one job as it was typed; quantities stand with their units, as 4L.
type Job struct {
	Vehicle string
	Tasks   []string
	Said    map[string]string // not nil; by the path of the field in the event's data; any text of what is so
	Meters  []Meter

	reads unit.System // in which bare numbers are
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
	First      string    // the vehicle's first key, where it has another by now
	Has        []why.Why // its rules and tasks
	Measures   Measures  // what the rules have measured by hand
	// Reads are the units in which people read of it, as far as anybody names them: a bare
	// number is in these.
	Reads  unit.System
	Now    time.Time
	Latest time.Time // the latest moment that an event may have
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
	NoTask                             // nor anything else that was done
	TwoNumbers                         // may be meant
	Several                            // have the name
	NoLimit                            // until when, or how much further
	NoReason                           // for what is postponed
	Past                               // a moment that has gone by
	NoNumber                           // of a sheet
	NoResult                           // of a sheet can be read
	NoMeasure                          // can be read
)

// Error is what keeps a job from being an event.
type Error struct {
	Fault   Fault
	Option  string    // that is wrong, with which the text begins; "" for what does not hang on one
	Name    string    // that nothing has
	Near    string    // the name that is likely meant; "" where none is near
	Have    []string  // the names that there are
	Kind    unit.Kind // of the quantity that is wanted
	Typed   string    // the number that has no unit, or that may be two
	Pointed string    // what was typed, with a decimal point for its comma; "" where it has none
	Own     string    // the unit in which people read such; "" where nobody says
	text    string
}

// Error says what is wrong.
func (e *Error) Error() string { return e.text }

// Events are the job's, checked, of a moment as it is typed; now where that is empty.
// What was left out is filled in, in Said too. A job without a task that says what meters
// show, and no more, is a reading of each; every other is one event of work. Identities
// are made of what is said, the moment included, so that the same typed again with its
// moment is the same job.
func (j Job) Events(on string, k Known) ([]event.Event, error) {
	j.reads = k.Reads
	at, err := k.when(on)
	if err != nil {
		return nil, err
	}
	if len(j.Tasks) == 0 {
		switch only, err := j.onlyMeters(); {
		case err != nil:
			return nil, err
		case only:
			return j.readings(at, k)
		}
	}
	ev, err := j.work(at, k)
	if err != nil {
		return nil, err
	}
	return []event.Event{ev}, nil
}

// onlyMeters reports whether nothing but meter values are said; it fails where not even
// these are.
func (j Job) onlyMeters() (bool, error) {
	for path, text := range j.Said {
		if text != "" && path != "by" && path != "component" {
			return false, nil
		}
	}
	if len(j.Meters) == 0 || j.Said["by"] != "" || j.Said["component"] != "" {
		return false, &Error{Fault: NoTask, Own: j.reads.Distance, text: "what was done?"}
	}
	return true, nil
}

func (j Job) readings(at time.Time, k Known) (out []event.Event, err error) {
	d, err := j.Data(k.Registered.Meters)
	if err != nil {
		return nil, err
	}
	for _, name := range slices.Sorted(maps.Keys(d.Meters)) {
		q := d.Meters[name]
		ev, err := k.named(event.Event{Kind: event.ReadingEvent, Vehicle: j.Vehicle, Time: at,
			Data: &event.ReadingData{Meter: name, Value: q.Value, Unit: q.Unit}})
		if err != nil {
			return nil, err
		}
		out = append(out, ev)
	}
	return out, nil
}

func (j Job) work(at time.Time, k Known) (ev event.Event, err error) {
	tasks := TasksOf(k.Has)
	for i, t := range j.Tasks {
		if j.Tasks[i], err = Meant(j.Vehicle, tasks, t); err != nil {
			return ev, err
		}
	}
	if j.Said["component"], err = j.component(k.Registered, tasks); err != nil {
		return ev, err
	}
	if c := k.Registered.ComponentNamed(j.Said["component"]); c != nil && j.Said["fluid.name"] == "" && j.exchanged() {
		j.Said["fluid.name"] = c.Fluid
	}
	ev = event.Event{Kind: event.ServiceEvent, Vehicle: j.Vehicle, Time: at}
	if ev.Data, err = j.Data(k.Registered.Meters); err != nil {
		return ev, err
	}
	return k.named(ev)
}

// Data is what the event says, as typed and no more, of a vehicle with these meters.
func (j Job) Data(meters []event.MeterDef) (*event.ServiceData, error) {
	values, err := j.meterValues(meters)
	if err != nil {
		return nil, err
	}
	d := &event.ServiceData{Tasks: j.Tasks, Meters: values}
	for _, f := range intake.Fields(event.ServiceEvent) {
		text := j.Said[f.Path]
		if text == "" {
			continue
		}
		var err error
		switch at := f.In(d).(type) {
		case *string:
			*at = text
			if _, wrong := time.Parse(time.DateOnly, text); wrong != nil && f.Path == "validUntil" {
				err = &Error{Fault: NoDate, Option: f.Option, text: fmt.Sprintf("%s %q is not a date", f.Option, text)}
			}
		case *bool:
			*at = true
		case **unit.Quantity:
			*at, err = quantity(f.Option, text, f.Units[0], j.reads)
		}
		if err != nil {
			return nil, err
		}
	}
	return d, nil
}

// meterValues are what the meters showed, by their names in the register.
func (j Job) meterValues(have []event.MeterDef) (map[string]unit.Quantity, error) {
	out := map[string]unit.Quantity{}
	for _, m := range j.Meters {
		name, kind, err := j.meter(m, have)
		if err != nil {
			return nil, err
		}
		q, err := quantity(m.Option, m.Text, kind, j.reads)
		if err != nil {
			return nil, err
		}
		out[name] = *q
	}
	return out, nil
}

// exchanged reports whether something is said of fluid, if only that some was topped up.
func (j Job) exchanged() bool {
	fluid := func(path string) bool {
		return (strings.HasPrefix(path, "fluid.") || path == "toppedUp") && j.Said[path] != ""
	}
	return slices.ContainsFunc(slices.Collect(maps.Keys(j.Said)), fluid)
}

// component is the one that was named, or the only one that the tasks are kept for.
func (j Job) component(reg *event.VehicleData, tasks []Task) (string, error) {
	all := componentNames(reg)
	if name := j.Said["component"]; name != "" {
		return ComponentMeant(j.Vehicle, reg, name)
	}
	switch kept := KeptFor(tasks, j.Tasks); {
	case len(kept) == 1:
		return kept[0], nil
	case !j.exchanged():
		return "", nil
	case len(kept) > 1:
		return "", &Error{Fault: SeveralComponents, Have: kept, text: "which component? The task applies to " + english.List("and", kept)}
	case len(all) == 0:
		return "", &Error{Fault: NoComponents, text: j.Vehicle + " has no components in the register, so the fluid belongs to none"}
	}
	return "", &Error{Fault: NoComponentSaid, Have: all, text: fmt.Sprintf("which component? %s has %s", j.Vehicle, english.List("and", all))}
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
			return t, &Error{Fault: NotYet, Option: "on", text: fmt.Sprintf("on %s is in the future", on)}
		}
		return t.UTC(), nil
	}
	return k.Now, &Error{Fault: NoDate, Option: "on", text: fmt.Sprintf("on %q is not a date", on)}
}
