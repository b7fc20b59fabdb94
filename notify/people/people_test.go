package people

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/rules/source"
)

func TestLoad(t *testing.T) {
	d, err := Load("testdata/people.yaml")
	if err != nil {
		t.Fatal(err)
	}
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
	want := Person{ID: "tove", Name: "Tove Almquist", To: map[string]string{Mail: "tove@larkfell.example"}, Volume: "qt",
		Dates: YearFirst, Digest: "30 2 * * *"}
	if !reflect.DeepEqual(p, want) || zone != "Europe/Berlin" {
		t.Errorf("got %+v in %s, want %+v", p, zone, want)
	}
	if _, err := Load(filepath.Join(t.TempDir(), "people.yaml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("no file: %v", err)
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
  post: {name: 7, zone: ""}
tell:
  warnings:
    who: [post, nobody]
    where: vehicle.kind = "bus"
    stages: [warning, bad]
    when: tomorrow
  empty:
    by: pigeon
more: 1
`))
	once := ` (write minute, hour, day, month and weekday: "0 6 * * 1-6" is six in the morning, Monday to Saturday, in the person's zone)`
	want := []string{
		"people.yaml:4:11: mail \"Ines <ines@larkfell.example>\" is more than an address (write ines@larkfell.example; the name belongs in `name`)",
		`people.yaml:5:11: zone "Europe/Lundon" is not known (it is a name like Europe/London)`,
		`people.yaml:6:5: unknown key "colour" in person "ines" (known here: name, mail, zone, distance, volume, temperature, pressure, dates, numbers, spelling, digest, list, nothing due, unchanged, quiet, holidays, webhook, nats, file, subject)`,
		`people.yaml:7:3: people names "ines" twice (it is first given in line 2)`,
		`people.yaml:9:3: person "tom" has a digest but no mail to send it to`,
		`people.yaml:9:19: distance must be km or mi, not "leagues"`,
		`people.yaml:9:36: digest "*/5 * * * *" comes more than once a day` + once,
		`people.yaml:10:3: person "o'brien": an id has at most 64 letters, digits, - and _`,
		`people.yaml:10:21: mail "ob\rrien@larkfell.example" is not an address like ines@example.org`,
		`people.yaml:11:3: person "jürgen": an id has at most 64 letters, digits, - and _`,
		`people.yaml:12:11: mail "juergen@bücher.example" has letters beyond ASCII (write the domain in its xn-- form)`,
		`people.yaml:13:13: digest "TZ=UTC" names a zone` + once,
		`people.yaml:14:49: digest "0 0 30 2 *" never comes` + once,
		`people.yaml:14:70: dates must be day first, month first or year first, not a list`,
		`people.yaml:15:16: name must be text, not a number (put it in quotes)`,
		`people.yaml:15:25: zone is empty (give it a value or delete it)`,
		`people.yaml:18:11: who: "post" has no mail, webhook, nats or file, so no message can reach them`,
		`people.yaml:18:17: who: there is no person or group "nobody"`,
		`people.yaml:19:12: where: unexpected token Operator("=")`,
		`people.yaml:20:23: a stage must be soon, due, overdue, advisory, caution or warning, not "bad"`,
		`people.yaml:21:11: when must be at once, digest or never, not "tomorrow"`,
		`people.yaml:22:3: tell "empty" does not say who gets the messages (say who, like "who: [people of the vehicle]")`,
		`people.yaml:23:9: by must be mail, webhook, nats or file, not "pigeon"`,
		`people.yaml:24:1: unknown key "more" in the file (known here: people, groups, operator, holidays, tell, rights, programs)`,
	}
	var faults source.Faults
	if !errors.As(err, &faults) {
		t.Fatalf("got %v, want faults", err)
	}
	for i, f := range faults {
		got := f.Place.String() + ": " + f.Text
		if f.Hint != "" {
			got += " (" + f.Hint + ")"
		}
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
	want := `people.yaml:2:17: volume must be L, qt or gal, not "cups"
      tom: {volume: cups}
                    ^^^^`
	if err == nil || strings.TrimSpace(err.Error()) != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

func TestFilesRefused(t *testing.T) {
	const ada = "people: {a: {mail: a@b.example}}\n"
	for text, want := range map[string]string{
		"": `p:1:1: the file is empty
hint: write something in it, or delete it`,
		"people: {}\n---\npeople: {}\n": `p:2:1: a second document begins here
    ---
    ^
hint: keep one of them`,
		"people: {}\ntell: *a\n": "p:2:7: a value that begins with `*`, which means something else in YAML\n    tell: *a\n          ^^\nhint: quote the whole value, or write it after `|` on the next line",
		"people: [a]\n": `p:1:9: people must be a mapping of names, not a list
    people: [a]
            ^
hint: write ` + "`key: value`" + ` under it, each on a line of its own`,
		"people:\n  a: {name: b\nx: 1\n": "p:2:6: a `{` is not closed\n      a: {name: b\n         ^\n" +
			"hint: write `}` where it ends; a value within it that holds one of `[]{},` must be quoted\n" + `p:3:1: unknown key "x" in the file
    x: 1
    ^
hint: known here: people, groups, operator, holidays, tell, rights, programs`,
		"a: x\n" + strings.Repeat("#", 256<<10): `p:1:1: the file is 257 KiB long; the limit is 256 KiB`,
		"people: {a: {name: }}\n": `p:1:14: "name" has no value
    people: {a: {name: }}
                 ^^^^
hint: give it a value or delete it`,
		ada + "tell: {x: {who: [[a]]}}\n": `p:2:18: who must be text, not a list
    tell: {x: {who: [[a]]}}
                     ^`,
		ada + "tell: {x: {who: {a: b}}}\n": `p:2:17: who must be a list, not a mapping
    tell: {x: {who: {a: b}}}
                    ^`,
		ada + "tell: {x: {who: [], where: [a]}}\n": `p:2:8: tell "x" does not say who gets the messages
    tell: {x: {who: [], where: [a]}}
           ^
hint: say who, like "who: [people of the vehicle]"
p:2:28: where must be text, not a list
    tell: {x: {who: [], where: [a]}}
                               ^`,
	} {
		_, err := Parse("p", []byte(text))
		if got := strings.TrimSpace(fmt.Sprint(err)); got != want {
			t.Errorf("%.60q: got\n%s\nwant\n%s", text, got, want)
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
	v := Vehicle{ID: "bus-07", Kind: "minibus", Tags: map[string]string{"depot": "north", "fuel": "gasoline"}, People: []string{"ines"}}
	for cond, want := range map[string]bool{
		`vehicle.kind == "minibus"`: true, `vehicle.kind == "van"`: false,
		`vehicle.tags["depot"] == "north"`: true, `vehicle.tags.depot in ["south", "west"]`: false, `vehicle.tags["none"] == ""`: true,
		`"ines" in vehicle.people`: true, `stage == "due" or stage == "overdue"`: true, `not task`: false,
		`rule matches "^engine"`: true, `component.kind == ""`: true, `statutory ? stage == "soon" : true`: true,
		`vehicle.id startsWith "bus-"`: true, `vehicle.tags.fuel == "petrol"`: true, `vehicle.tags["fuel"] != "petrol"`: false,
		`"petrol" == vehicle.tags.fuel`: true, `vehicle.tags.fuel in ["diesel", "petrol"]`: true, `vehicle.id == "gasoline"`: false,
	} {
		d, err := Parse("p", []byte(where(cond)))
		if err != nil {
			t.Errorf("%s: %v", cond, err)
			continue
		}
		how, _ := d.hears(d.Person("a"), &Subject{Vehicle: v, Rule: "engine oil", Task: true, Stages: []alarm.Stage{"due"}})
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
