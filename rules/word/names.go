package word

import (
	_ "embed" // for the table
	"strings"
)

// names.csv has the kinds and the values of tags that people call by more than one name,
// as the British and the Americans do: the name that the chapters use, and another for
// the same.
//
//go:embed names.csv
var namesTable string

// called are all names of a thing by each of them, the chapters' name first.
var called = readNames(namesTable)

func readNames(table string) map[string][]string {
	also := map[string][]string{}
	for row := range strings.Lines(table) {
		name, other, _ := strings.Cut(strings.TrimSpace(row), ",")
		if name == "name" {
			continue // the heading
		}
		if also[name] == nil {
			also[name] = []string{name}
		}
		also[name] = append(also[name], other)
	}
	all := map[string][]string{}
	for _, names := range also {
		for _, name := range names {
			all[name] = names
		}
	}
	return all
}

// Names are all names for what a kind or the value of a tag says, the chapters' name first:
// a petrol engine is a gasoline engine. The texts are compared as they are written.
func Names(text string) []string {
	if names := called[text]; names != nil {
		return names
	}
	return []string{text}
}

// HasNames reports whether the values of a field, by the name that [Field] knows, may be
// called by more than one name: kinds and tags, and not what is somebody's own, such as a
// vehicle's name.
func HasNames(field string) bool {
	return field == "vehicle.kind" || field == "component.kind" || strings.HasPrefix(field, "vehicle.tags.")
}
