package fit

import (
	"fmt"

	"telltale/rules"
)

// Tags describes each tag that a book asks for: its name, an example of its use, the texts
// that are asked for, and who asks.
func Tags(book *rules.Book) (out []Tag) {
	for _, a := range book.Asked() {
		if name := a.Tag(); name != "" {
			out = append(out, Tag{name, otherNames(a.Texts), example(a), a.By})
		}
	}
	return out
}

// Tag is one that tasks or rules ask for.
type Tag struct {
	Name    string   `json:"name"`
	Texts   []string `json:"texts"` // asked for, each with its other names
	Example string   `json:"example"`
	By      []string `json:"by"` // the tasks and rules that ask
}

// example is how a vehicle is given the tag.
func example(a rules.Asked) string {
	text := "yes"
	if len(a.Texts) > 0 {
		text = a.Texts[0]
	}
	return fmt.Sprintf("tags: {%s: %s}", a.Tag(), text)
}

// Kinds are those that a book asks for, each with its other names.
func Kinds(book *rules.Book) (components, vehicles []string) {
	for _, a := range book.Asked() {
		switch a.Field {
		case "component.kind":
			components = otherNames(a.Texts)
		case "vehicle.kind":
			vehicles = otherNames(a.Texts)
		}
	}
	return components, vehicles
}
