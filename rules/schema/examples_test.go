package schema_test

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	"telltale/notify/people"
)

// at is the part of a schema under those keys.
func at(doc map[string]any, keys ...string) map[string]any {
	for _, key := range keys {
		doc = doc[key].(map[string]any)
	}
	return doc
}

// noted are the example and what holds without the key, as the reference has them.
func noted(n map[string]any) (example, without string) {
	example, without, _ = strings.Cut(strings.TrimPrefix(n["$comment"].(string), "as "), "; default: ")
	return example, without
}

const twoPeople = "people: {ines: {mail: ines@example.org}, tobias: {mail: tobias@example.org}}\n"

// TestReferenceExamples: each example of the reference of people.yaml is right by its
// schema and for the program.
func TestReferenceExamples(t *testing.T) {
	s, doc := compile(t, "people")
	for _, c := range []struct{ keys, file string }{
		{"properties", "%s: %s\n"},
		{"properties people additionalProperties properties", "people: {ines: {mail: ines@example.org}, x: {mail: x@example.org, %s: %s}}\n"},
		{"properties tell additionalProperties properties", "tell: {e: {who: [ines], stand-in: [tobias], stand-in after: 3 days, %s: %s}}\n"},
		{"properties rights additionalProperties properties", "rights: {all: {who: [tobias], may: operator}, e: {who: [ines], may: look, %s: %s}}\n"},
		{"properties programs additionalProperties properties", "programs: {p: {key: UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI, sends: reading, %s: %s}}\n"},
	} {
		for key, n := range at(doc, strings.Fields(c.keys)...) {
			example, _ := noted(n.(map[string]any))
			text := fmt.Sprintf(c.file, key, example)
			switch { // what the frame says itself
			case key == "mail":
				text = strings.Replace(text, "mail: x@example.org, ", "", 1)
			case key == "who":
				text = strings.Replace(text, "who: [ines], ", "", 1)
			case key == "may":
				text = strings.Replace(text, "may: look, ", "", 1)
			case strings.HasPrefix(key, "stand-in"):
				text = strings.Replace(text, map[string]string{"stand-in": "stand-in: [tobias], ", "stand-in after": "stand-in after: 3 days, "}[key], "", 1)
			case key == "key":
				text = strings.Replace(text, "key: UA3QTDOAUZOTDKBNIXNZUHAOVGMDQX36MEA4TAPCNZIVRNMU2EZJGDJI, sends", "sends", 1)
			case key == "sends" || key == "operator":
				text = strings.Replace(text, "sends: reading, ", "", 1)
			case key == "when":
				text = strings.Replace(text, "stand-in: [tobias], stand-in after: 3 days, ", "", 1)
			}
			if key == "quiet" || key == "where" {
				text = strings.Replace(text, example, "'"+example+"'", 1)
			}
			if !strings.HasPrefix(text, "people:") {
				text = twoPeople + text
			}
			if err := s.Validate(value(parse(t, []byte(text)))); err != nil {
				t.Errorf("%s\n%v", text, err)
			}
			if err := load("people", []byte(text)); err != nil {
				t.Errorf("%s\n%v", text, err)
			}
		}
	}
}

// TestReferenceDefaults: what the reference says to hold without a key is what holds.
func TestReferenceDefaults(t *testing.T) {
	_, doc := compile(t, "people")
	person := func(more string) *people.Person {
		d, err := people.Parse("people.yaml", []byte("people: {ines: {mail: ines@example.org"+more+"}}\n"))
		if err != nil {
			t.Fatal(err)
		}
		return d.Person("ines")
	}
	tried := 0
	for key, n := range at(doc, "properties", "people", "additionalProperties", "properties") {
		_, without := noted(n.(map[string]any))
		enum, _ := n.(map[string]any)["enum"].([]any)
		if key != "zone" && !slices.Contains(enum, any(without)) {
			continue
		}
		if tried++; !reflect.DeepEqual(person(""), person(", "+key+": "+without)) {
			t.Errorf("without %s it is not as with %q", key, without)
		}
	}
	if tried < 6 { // a unit that is not given is the folder's
		t.Errorf("%d defaults were tried", tried)
	}
}
