package language

import (
	"encoding/json"
	"path/filepath"
	"slices"

	"telltale/rules/schema"
)

// form is a part of a JSON Schema: what may stand at a place in a file.
type form map[string]any

// forms are the schemas of a folder's files, read once.
var forms = func() map[string]form {
	all := map[string]form{}
	for _, name := range schema.Names {
		var f form
		if err := json.Unmarshal(schema.Of(name), &f); err != nil {
			panic("schema " + name + ": " + err.Error()) // the program's own
		}
		all[name] = f
	}
	return all
}()

// formOf is the schema of the file at a path, by where it stands and what it is called.
func formOf(path string) form {
	switch filepath.Base(path) {
	case "vehicles.yaml":
		return forms["vehicles"]
	case "people.yaml":
		return forms["people"]
	case "telltale.yaml":
		return forms["settings"]
	}
	return forms["rules"]
}

// at lists what may stand at the end of a path of keys. A place in a list has the key "".
func (f form) at(path []string) []form {
	now := f.options()
	for _, key := range path {
		var next []form
		for _, f := range now {
			next = append(next, f.under(key)...)
		}
		now = next
	}
	return now
}

// options are the form and its alternatives.
func (f form) options() []form {
	out := []form{f}
	for _, key := range []string{"anyOf", "oneOf"} {
		list, _ := f[key].([]any)
		for _, one := range list {
			if m, ok := one.(map[string]any); ok {
				out = append(out, form(m).options()...)
			}
		}
	}
	return out
}

// under are the forms of the value of a key.
func (f form) under(key string) []form {
	for _, m := range []any{f.property(key), f["additionalProperties"]} {
		if m, ok := m.(map[string]any); ok && key != "" {
			return form(m).options()
		}
	}
	if m, ok := f["items"].(map[string]any); ok {
		return append(form(m).options(), form(m).under(key)...)
	}
	return nil
}

func (f form) property(key string) any {
	all, _ := f["properties"].(map[string]any)
	return all[key]
}

// keys are the keys that a mapping may have, sorted.
func (f form) keys() []string {
	all, _ := f["properties"].(map[string]any)
	var out []string
	for key := range all {
		out = append(out, key)
	}
	if names, ok := f["propertyNames"].(map[string]any); ok {
		out = append(out, texts(names["enum"])...)
	}
	slices.Sort(out)
	return out
}

// values are what a value may be, where it is one of a few, or an example of it.
func (f form) values() []string {
	out := append(texts(f["enum"]), texts(f["examples"])...)
	if one, ok := f["const"].(string); ok {
		out = append(out, one)
	}
	return out
}

// says is what the schema says of it.
func (f form) says() string {
	text, _ := f["description"].(string)
	return text
}

// expression reports whether an expression stands there: of all values only they may be a
// text, a number, or true and false.
func (f form) expression() bool {
	kinds, _ := f["type"].([]any)
	return len(kinds) == 3
}

// template reports whether a text stands there in which ${ } is filled in.
func template(key string) bool { return key == "say" || key == "advise" }

func texts(list any) []string {
	all, _ := list.([]any)
	var out []string
	for _, v := range all {
		if s, ok := v.(string); ok {
			out = append(out, s)
		}
	}
	return out
}
