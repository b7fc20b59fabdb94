package notify

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"telltale/rules"
)

func TestLoad(t *testing.T) {
	d := people(t)
	var ids []string
	for _, p := range d.People() {
		ids = append(ids, p.ID)
	}
	if want := []string{"ines", "north", "tove"}; !reflect.DeepEqual(ids, want) {
		t.Errorf("got %q, want %q", ids, want)
	}
	p := *d.Person("tove")
	zone := p.Zone.String()
	p.Zone, p.turn = nil, nil
	want := Person{ID: "tove", Name: "Tove Almquist", Mail: "tove@larkfell.example", Distance: "km", Volume: "qt",
		Dates: YearFirst, Digest: "30 2 * * *"}
	if p != want || zone != "Europe/Berlin" {
		t.Errorf("got %+v in %s, want %+v", p, zone, want)
	}
	if _, err := Load(filepath.Join(t.TempDir(), "people.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
	}
	if d, err := Parse("people.yaml", nil); err != nil || len(d.People()) != 0 {
		t.Errorf("an empty file: %v", err)
	}
}

// All that is wrong is said at once, each where it stands.
func TestFaults(t *testing.T) {
	_, err := Parse("people.yaml", []byte(`people:
  ines:
    name: Ines
    mail: Ines <ines@larkfell.example>
    zone: Europe/Lundon
    colour: green
  ines:
    name: again
  tom: {distance: leagues, digest: "*/5 * * * *"}
  "o'brien": {mail: "ob\rrien@larkfell.example"}
  jürgen:
    mail: juergen@bücher.example
    digest: "TZ=UTC"
  never: {mail: never@larkfell.example, digest: "0 0 30 2 *", dates: [x]}
tell:
  warnings:
    who: [ines, nobody]
    where: vehicle.kind = "bus"
    stages: [warning, bad]
    when: tomorrow
  empty:
    by: pigeon
more: 1
`))
	want := []string{
		`people.yaml:4:11: mail "Ines <ines@larkfell.example>" is not an address like ines@example.org`,
		`people.yaml:5:11: zone "Europe/Lundon" is not known`,
		`people.yaml:6:5: unknown key "colour" in person "ines"`,
		`people.yaml:7:3: "ines" stands twice in people`,
		`people.yaml:9:3: person "tom" has a digest but no mail to send it to`,
		`people.yaml:9:19: distance cannot be "leagues"`,
		`people.yaml:9:36: digest "*/5 * * * *" comes more than once a day`,
		`people.yaml:10:3: person "o'brien": an id is made of letters, digits, - and _, at most 64`,
		`people.yaml:10:21: mail "ob\rrien@larkfell.example" is not an address like ines@example.org`,
		`people.yaml:11:3: person "jürgen": an id is made of letters, digits, - and _, at most 64`,
		`people.yaml:11:3: person "jürgen" has a digest but no mail to send it to`,
		`people.yaml:12:11: mail "juergen@bücher.example" has letters beyond ASCII`,
		`people.yaml:13:13: digest "TZ=UTC" names a zone`,
		`people.yaml:14:49: digest "0 0 30 2 *" never comes`,
		`people.yaml:14:70: dates wants a text`,
		`people.yaml:17:11: who: "ines" has no mail to be told by`,
		`people.yaml:17:17: who: nobody called "nobody" in people`,
		`people.yaml:18:12: where: unexpected token Operator("=")`,
		`people.yaml:19:23: a stage cannot be "bad"`,
		`people.yaml:20:11: when cannot be "tomorrow"`,
		`people.yaml:21:3: tell "empty" tells nobody`,
		`people.yaml:22:9: by cannot be "pigeon"`,
		`people.yaml:23:1: unknown key "more" in the file`,
	}
	var faults rules.Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v, want faults", err)
	}
	for i, f := range faults {
		got := f.Place.String() + ": " + f.Text
		if i >= len(want) || got != want[i] {
			t.Errorf("fault %d: got  %s", i, got)
		}
	}
	if len(faults) != len(want) {
		t.Errorf("got %d faults, want %d", len(faults), len(want))
	}
}

// A fault shows its line with a caret and the cure.
func TestFaultShown(t *testing.T) {
	_, err := Parse("people.yaml", []byte("people:\n  tom: {volume: cups}\n"))
	want := `people.yaml:2:17: volume cannot be "cups"
      tom: {volume: cups}
                    ^^^^
hint: it is one of: L, qt, gal`
	if err == nil || strings.TrimSpace(err.Error()) != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestFilesRefused(t *testing.T) {
	for text, want := range map[string]string{
		"people: {}\n---\npeople: {}\n":                               "a second document",
		"people: &a {}\ntell: *a\n":                                   "aliases",
		"people: [a]\n":                                               "people wants a mapping",
		"people:\n  a: {name: b\nx: 1\n":                              "did not find expected",
		"a: &a [x]\n" + strings.Repeat("#", maxFile):                  "the file is over 256 KiB",
		"people: {a: {name: }}\n":                                     "name wants a text",
		"people: {a: {mail: a@b.example}}\ntell: {x: {who: [[a]]}}\n": "plain words",
	} {
		if _, err := Parse("p", []byte(text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.40q: got %v, want %q", text, err, want)
		}
	}
}

func where(cond string) string {
	return "people: {a: {mail: a@b.example}}\ntell:\n  x:\n    who: a\n    where: |\n      " + cond + "\n"
}

// What could hang, fail or reach elsewhere is refused at load.
func TestConditionsRefused(t *testing.T) {
	for _, cond := range []string{
		`sum(1..1000000, #) > 0`, `any(vehicle.people, # == "a")`, `vehicle.people[3] == "a"`, `now() > now()`, `$env != nil`,
		`stage matches rule`, `"a" + rule == stage`, `let x = stage; x == "due"`, `1 in 1..1000000000`, `rule`, `vehicle.wheels == 4`,
		`len(rule) > 3`, `repeat("a", 1000000000) == rule`, `reduce(1..40, #acc + #acc, "a") == rule`, `vehicle?.name == "a"`,
		strings.Repeat("(", 5000) + "true", `vehicle.tags == 1`, `fuel > 3`,
	} {
		if _, err := Parse("p", []byte(where(cond))); err == nil {
			t.Errorf("%.60s: taken", cond)
		}
	}
}

func TestConditions(t *testing.T) {
	v := Vehicle{ID: "bus-07", Kind: "minibus", Tags: map[string]string{"depot": "north"}, People: []string{"ines"}}
	for cond, want := range map[string]bool{
		`vehicle.kind == "minibus"`: true, `vehicle.kind == "van"`: false,
		`vehicle.tags["depot"] == "north"`: true, `vehicle.tags.depot in ["south", "west"]`: false, `vehicle.tags["none"] == ""`: true,
		`"ines" in vehicle.people`: true, `stage == "due" or stage == "overdue"`: true, `not task`: false,
		`rule matches "^engine"`: true, `component.kind == ""`: true, `statutory ? stage == "soon" : true`: true,
		`vehicle.id startsWith "bus-"`: true,
	} {
		d, err := Parse("p", []byte(where(cond)))
		if err != nil {
			t.Errorf("%s: %v", cond, err)
			continue
		}
		how, _ := d.hears(d.Person("a"), &subject{env{Vehicle: v, Rule: "engine oil", Task: true}, []string{"due"}})
		if got := how == atOnce; got != want {
			t.Errorf("%s: got %v", cond, got)
		}
	}
}

func FuzzParse(f *testing.F) {
	if text, err := os.ReadFile("testdata/people.yaml"); err == nil {
		f.Add(string(text))
	}
	f.Add(where(`stage == "due"`))
	f.Add("people: {a: {digest: \"TZ=UTC\"}}")
	f.Fuzz(func(t *testing.T, text string) {
		d, err := Parse("p", []byte(text))
		if (d == nil) == (err == nil) {
			t.Errorf("%q: %v and %v", text, d, err)
		}
	})
}
