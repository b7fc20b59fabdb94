package schema

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// keyed is the value of a key with what the reference says of it: what it means, an
// example, and what holds without it.
func keyed(n node, meaning, example, without string) node {
	n = about(n, meaning)
	var value any
	if err := yaml.Unmarshal([]byte(example), &value); err != nil {
		panic(err) // the examples are written here
	}
	n["examples"] = []any{value}
	n["$comment"] = "as " + example + leftOut + without
	return n
}

const leftOut = "; left out: "

// noted are the example and what holds without the key.
func (n node) noted() (example, without string) {
	comment, _ := n["$comment"].(string)
	example, without, _ = strings.Cut(strings.TrimPrefix(comment, "as "), leftOut)
	return example, without
}

// Reference is a table of all keys of a file, for people: what each means, an example, and
// what holds where it is left out. Mappings within it have tables of their own, below.
// "" for a file whose schema does not say all of that.
func Reference(name string) string {
	var b strings.Builder
	switch name {
	case "people":
		file := peopleFile()
		keysTable(&b, "The file", file)
		keysTable(&b, "A person", person())
		keysTable(&b, "`webhook` of a person", properties(person())["webhook"])
		keysTable(&b, "An entry of `tell`", entry())
	case "settings":
		file := settingsFile()
		keysTable(&b, "The file", file)
		for _, key := range []string{"mail", "smtp", "answers", "webhooks"} {
			keysTable(&b, "`"+key+"`", properties(file)[key])
		}
	}
	return b.String()
}

func properties(n node) map[string]node { return n["properties"].(map[string]node) }

func keysTable(b *strings.Builder, heading string, of node) {
	fmt.Fprintf(b, "### %s\n\n| key | meaning | example | left out |\n| --- | --- | --- | --- |\n", heading)
	for _, key := range slices.Sorted(maps.Keys(properties(of))) {
		n := properties(of)[key]
		example, without := n.noted()
		fmt.Fprintf(b, "| `%s` | %s | `%s` | %s |\n", key, n["description"], example, without)
	}
	b.WriteString("\n")
}
