// Package schema gives JSON Schemas (draft 2020-12) of the files that people
// write, for editors with support for YAML. They are made from the language's own
// lists of words, analytes and units. A schema says what form a file has; whether
// its expressions and names fit together only the check knows.
package schema

import (
	"encoding/json"
	"maps"
	"strings"

	"telltale/rules"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// node is a schema, or a part of one.
type node map[string]any

// Names are the files that there are schemas of.
var Names = []string{"rules", "people", "vehicles", "import", "settings"}

// Of is the schema of that name as JSON; nil for a name that is not in Names.
func Of(name string) []byte {
	var root node
	switch name {
	case "rules":
		root = rulesFile()
	case "people":
		root = peopleFile()
	case "vehicles":
		root = vehiclesFile()
	case "import":
		root = mappingFile()
	case "settings":
		root = settingsFile()
	default:
		return nil
	}
	root["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	out, err := json.MarshalIndent(root, "", "  ")
	if err != nil {
		panic(err) // nothing in it but texts, numbers, lists and maps
	}
	return append(out, '\n')
}

// object is a mapping with known keys.
func object(required []string, properties ...map[string]node) node {
	all := map[string]node{}
	for _, p := range properties {
		maps.Copy(all, p)
	}
	n := node{"type": "object", "additionalProperties": false, "properties": all}
	if len(required) > 0 {
		n["required"] = required
	}
	return n
}

// named is a mapping of free names to one kind of value.
func named(value node) node {
	return node{"type": "object", "additionalProperties": value, "propertyNames": node{"minLength": 1, "maxLength": 80, "not": node{"pattern": "^data:"}}}
}

func about(n node, description string) node {
	n = maps.Clone(n)
	n["description"] = description
	return n
}

func text() node                   { return node{"type": "string", "minLength": 1} }
func choice(values ...string) node { return node{"enum": values} }
func whole(least, most int) node   { return node{"type": "integer", "minimum": least, "maximum": most} }
func either(options ...node) node  { return node{"anyOf": options} }
func list(n node) node             { return node{"type": "array", "items": n} }
func someOf(n node) node           { return node{"type": "array", "items": n, "minItems": 1} }
func oneOrMore(n node) node        { return either(n, list(n)) }
func texts() node                  { return oneOrMore(text()) }
func pattern(re, example string) node {
	return node{"type": "string", "pattern": re, "examples": []string{example}}
}

// yes is yes or no; editors that read YAML 1.1 take them for true and false.
func yes() node { return node{"enum": []any{"yes", "no", true, false}} }

const number = `-?[0-9]+(\.[0-9]+)?([eE][-+]?[0-9]+)?`

// quantity is a number with a unit of one of the kinds.
func quantity(example string, kinds ...unit.Kind) node {
	return pattern(`^`+number+` ?(`+strings.Join(unit.Names(kinds...), "|")+`)$`, example)
}

func share() node { return pattern(`^[0-9]+(\.[0-9]+)? ?%$`, "10%") }
func date() node  { return pattern(`^[0-9]{4}-[0-9]{2}-[0-9]{2}$`, "2031-04-02") }

// expression is written in the language; a bare number, true and false are expressions too.
func expression(description string) node {
	return node{"type": []string{"string", "number", "boolean"}, "description": description}
}

// byStage is a mapping with a value for some stages.
func byStage(n node) node {
	properties := map[string]node{}
	for _, s := range rules.StageNames[1:] {
		properties[s] = n
	}
	o := object(nil, properties)
	o["minProperties"] = 1
	return o
}

// onceOrByStage is a value for all stages, or one for each.
func onceOrByStage(n node) node { return either(n, byStage(n)) }

// words lists what an expression may ask, for the editor to show.
func words() string {
	var b strings.Builder
	b.WriteString("An expression. It may ask:")
	for _, w := range word.All() {
		b.WriteString("\n" + w.Signature + ": " + w.Meaning)
	}
	return b.String()
}
