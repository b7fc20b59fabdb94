package schema

import "gopkg.in/yaml.v3"

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

const leftOut = "; default: "
