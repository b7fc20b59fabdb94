package job

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"telltale/engine/event"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/source"
)

// Task is a task or follow-up that a vehicle has, and the component that it is kept for.
type Task struct{ Name, Title, Component string }

// TasksOf are the tasks and follow-ups among what a vehicle has, and the follow-ups that
// these and its rules may open.
func TasksOf(has []why.Why) []Task {
	out := []Task{}
	add := func(t Task) {
		if !slices.ContainsFunc(out, func(o Task) bool { return o.Name == t.Name && o.Component == t.Component }) {
			out = append(out, t)
		}
	}
	for i := range has {
		if y := &has[i]; y.Due != nil {
			add(Task{y.Rule, y.Title, y.Component})
		}
	}
	for i := range has {
		for _, o := range has[i].Opens {
			add(Task{o.Name, o.Title, has[i].Component})
		}
	}
	return out
}

// KeptFor are the components that the tasks of these names are kept for.
func KeptFor(tasks []Task, names []string) (kept []string) {
	for _, t := range tasks {
		if t.Component != "" && slices.Contains(names, t.Name) && !slices.Contains(kept, t.Component) {
			kept = append(kept, t.Component)
		}
	}
	return kept
}

// Meant is the name of the task of a vehicle that a text means: by its name, or by the
// title that lists show, whatever the case, blanks and hyphens.
func Meant(vehicle string, tasks []Task, text string) (string, error) {
	names := map[string][]string{}
	for _, t := range tasks {
		names[t.Name] = append(names[t.Name], t.Name, t.Title)
	}
	return meant(names, text, fmt.Sprintf("%s has no task %q", vehicle, text))
}

// Vehicle is the id of the vehicle that a text means: by its key, name, plate or
// VIN, or an earlier key, whatever the case, blanks and hyphens.
func Vehicle(fleet map[string]*event.VehicleData, text string) (string, error) {
	names := map[string][]string{}
	for id, d := range fleet {
		names[id] = d.Names(id)
	}
	return meant(names, text, fmt.Sprintf("no vehicle %q is registered", text))
}

// ComponentMeant is the component that a text means.
func ComponentMeant(vehicle string, reg *event.VehicleData, text string) (string, error) {
	names := map[string][]string{}
	for _, name := range componentNames(reg) {
		names[name] = []string{name}
	}
	return meant(names, text, fmt.Sprintf("%s has no component %q", vehicle, text))
}

func componentNames(reg *event.VehicleData) (out []string) {
	for _, c := range reg.Components {
		out = append(out, c.Name)
	}
	return out
}

// meant is the key that a text means: the key itself, or the only one that is called so
// by any of its names. The error names the nearest.
func meant(names map[string][]string, text, none string) (string, error) {
	if _, ok := names[text]; ok {
		return text, nil
	}
	keys := slices.Sorted(maps.Keys(names))
	var found, all []string
	of := map[string]string{}
	for _, key := range keys {
		if slices.ContainsFunc(names[key], func(name string) bool { return name != "" && english.Folded(name) == english.Folded(text) }) {
			found = append(found, key)
		}
		for _, name := range names[key] {
			if name != "" {
				all, of[name] = append(all, name), key
			}
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return "", &Error{Fault: NoSuchName, Name: text, Near: of[source.Near(text, all)], Have: keys, text: none}
	}
	return "", &Error{Fault: Several, Name: text, Have: found, text: fmt.Sprintf("%q may be any of %s", text, strings.Join(found, ", "))}
}
