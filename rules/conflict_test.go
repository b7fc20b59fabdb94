package rules

import (
	"fmt"
	"strings"
	"testing"
	"time"
)

// Pairs of baselines: the vehicle that both match, or "" where they go together.
func TestConflicts(t *testing.T) {
	for _, c := range []struct{ a, b, want string }{
		{`component.kind == "gearbox"`, `component.kind == "axle"`, ""},
		{`component.kind == "gearbox"`, `component.fluid == "ATF"`, `a vehicle with a component of kind "gearbox" filled with "ATF"`},
		{`component.kind == "gearbox" && vehicle.kind == "bus"`, `component.kind == "gearbox" && vehicle.kind != "bus"`, ""},
		{`component.kind in ["gearbox", "axle"]`, `component.kind == "axle" || component.kind == "hub"`, `a vehicle with a component of kind "axle"`},
		{`vehicle.tags["road"] == "hills" && component.name == "rear"`, `vehicle.tags["depot"] != "north" && component.kind != ""`,
			`a vehicle tagged road "hills" with a component called "rear"`},
		{`component.kind == "gearbox" && component.capacity > 5`, `component.kind == "gearbox" && component.capacity <= 5`, ""},
		{`component.kind == "gearbox" && component.capacity > 5`, `component.kind == "gearbox" && component.capacity < 9`,
			`a vehicle with a component of kind "gearbox" that holds 6 L`},
		{`lower(component.fluid) == "atf"`, `component.fluid startsWith "at"`, `a vehicle with a component filled with "atf"`},
		{`component.kind == "axle" && vehicle.name startsWith "bus"`, `component.kind == "axle"`, `a vehicle called "bus" with a component of kind "axle"`},
		{`component.kind == "axle" && vehicle.key == "bus-07"`, `component.kind == "axle" && vehicle.key == "bus-08"`, ""},
		{`component.kind == "axle" && vehicle.key == "bus-07"`, `component.kind == "axle"`, `a vehicle of the key "bus-07" with a component of kind "axle"`},
		{`true`, `component.kind == "axle"`, `a vehicle with a component of kind "axle"`},
		{`true`, `false`, ""},
		// Texts that neither names.
		{`component.kind startsWith "gear"`, `component.kind endsWith "box"`, `a vehicle with a component of kind "gearbox"`},
		{`component.kind startsWith "auto"`, `component.kind contains "trans"`, `a vehicle with a component of kind "autotrans"`},
		{`component.kind contains "turbo"`, `component.kind contains "diesel"`, `a vehicle with a component of kind "dieselturbo"`},
		{`vehicle.key startsWith "bus-"`, `vehicle.key startsWith "bu"`, `a vehicle of the key "bus-" with a component`},
		{`vehicle.key startsWith "bus"`, `vehicle.key startsWith "van"`, ""},
		{`vehicle.key matches "^bus-[0-9]+$"`, `vehicle.key endsWith "7"`, `a vehicle of the key "bus-7" with a component`},
		{`vehicle.key matches "^bus-[0-9]{2}$"`, `vehicle.key matches "^[a-z]{3}-.[3-5]$"`, `a vehicle of the key "bus-03" with a component`},
		{`vehicle.key matches "^bus-[0-9]$"`, `vehicle.key matches "^bus-[0-9]{2}$"`, ""},
		{`vehicle.name matches "(?i)^bus"`, `vehicle.name startsWith "BUS"`, `a vehicle called "BUS" with a component`},
		{`vehicle.name matches "\\bbus\\b"`, `vehicle.name startsWith "a" && vehicle.name endsWith "z"`, `a vehicle called "a bus z" with a component`},
		{`component.kind startsWith "gas"`, `component.kind == "petrol engine"`, `a vehicle with a component of kind "gasoline engine"`},
		{`component.kind startsWith "gear" && component.kind != "gearbox"`, `component.kind endsWith "box" && not (component.kind contains "x-")`, `a vehicle with a component of kind "gear box"`},
		{`lower(component.kind) startsWith "gear"`, `component.kind == "gearbox"`, `a vehicle with a component of kind "gearbox"`},
		// Fields with fields.
		{`vehicle.tags["depot"] == vehicle.tags["home"]`, `vehicle.tags["depot"] == "north"`, `a vehicle tagged depot "north" tagged home "north" with a component`},
		{`vehicle.tags["depot"] != vehicle.tags["home"]`, `component.kind == "axle"`, `a vehicle tagged home "other" with a component of kind "axle"`},
		{`vehicle.name contains vehicle.tags["depot"]`, `vehicle.tags["depot"] == "north" && vehicle.name startsWith "bus"`,
			`a vehicle called "busnorth" tagged depot "north" with a component`},
		// Capacities between those that are named.
		{`component.capacity > 5.2`, `component.capacity < 5.4`, `a vehicle with a component that holds 5.3 L`},
		{`component.capacity < 0.5`, `component.capacity < 0.4`, `a vehicle with a component that holds 0.2 L`},
		{`component.capacity < 0`, `component.capacity > -1`, ""},
	} {
		text := fmt.Sprintf("book: 1\nbaselines:\n  a: {source: x, fresh: {P: 1}, where: '%s'}\n  b: {source: x, fresh: {P: 1}, where: '%s'}\n", c.a, c.b)
		_, err := Load([]File{{"a.yaml", []byte(text)}})
		got := ""
		if err != nil {
			_, got, _ = strings.Cut(strings.Split(err.Error(), "\n")[0], "both match ")
		}
		if got != c.want || err != nil && c.want == "" {
			t.Errorf("%s and %s: got %q, want %q (%v)", c.a, c.b, got, c.want, err)
		}
		if err != nil {
			over := strings.Replace(text, "  b: {", "  b: {over: a, ", 1)
			if b, err := Load([]File{{"a.yaml", []byte(over)}}); err != nil || b.Baselines[0].Name != "b" {
				t.Errorf("over: %v", err)
			}
		}
	}
}

func TestOverFaults(t *testing.T) {
	_, err := Load([]File{{"a.yaml", []byte(`book: 1
baselines:
  gearbox fluid: {over: [gearbox fluid, gear box oil], source: x, fresh: {P: 1}}
`)}})
	want := `a.yaml:3:26: baseline "gearbox fluid" cannot be over itself
      gearbox fluid: {over: [gearbox fluid, gear box oil], source: x, fresh: {P: 1}}
                             ^^^^^^^^^^^^^
a.yaml:3:41: there is no baseline "gear box oil"
      gearbox fluid: {over: [gearbox fluid, gear box oil], source: x, fresh: {P: 1}}
                                            ^^^^^^^^^^^^
hint: name another baseline of the book`
	if err == nil || err.Error() != want {
		t.Errorf("got:\n%v\nwant:\n%s", err, want)
	}
	_, err = Load([]File{{"a.yaml", []byte("book: 1\nbaselines:\n  a: {over: b, source: x, fresh: {P: 1}}\n  b: {over: c, source: x, fresh: {P: 1}}\n  c: {over: a, source: x, fresh: {P: 1}}\n")}})
	if err == nil || !strings.Contains(err.Error(), "are each `over` the other") {
		t.Errorf("a circle: %v", err)
	}
}

// Very many baselines are compared as far as the work allows, and no further.
func TestManyBaselines(t *testing.T) {
	var b strings.Builder
	b.WriteString("book: 1\nbaselines:\n")
	for i := range 1500 {
		fmt.Fprintf(&b, "  b%d: {source: x, fresh: {P: 1}, where: component.kind == \"k%d\"}\n", i, i)
	}
	began := time.Now()
	if _, err := Load([]File{{"a.yaml", []byte(b.String())}}); err != nil {
		t.Fatal(err)
	}
	if d := time.Since(began); d > 30*time.Second {
		t.Errorf("it took %v", d)
	}
}

// Where the work ends the check says so.
func TestSearchSaysWhereItEnds(t *testing.T) {
	var b strings.Builder
	b.WriteString("book: 1\nbaselines:\n")
	for i := range 700 {
		fmt.Fprintf(&b, "  b%03d: {source: x, fresh: {P: 1}, where: component.kind == \"k%d\"}\n", i, i)
	}
	book, err := Load([]File{{"a.yaml", []byte(b.String())}})
	if err != nil || len(book.Questions) != 1 {
		t.Fatal(err, book)
	}
	want := `the baselines are too many to compare each with each: from "b`
	if got := book.Questions[0].Text; !strings.HasPrefix(got, want) || !strings.HasSuffix(got, " pairs were not compared to the end") {
		t.Error(got)
	}
}

// Baselines that compare many tags do not use the work up: a value that decides ends the
// search of what follows.
func TestManyTags(t *testing.T) {
	var b strings.Builder
	b.WriteString("book: 1\nbaselines:\n")
	for i := range 40 {
		fmt.Fprintf(&b, "  b%d: {source: x, fresh: {P: 1}, where: '", i)
		for tag := range 8 {
			fmt.Fprintf(&b, "vehicle.tags[\"t%d\"] == \"v%d\" && ", tag, i>>tag&1)
		}
		b.WriteString("component.kind == \"axle\"'}\n")
	}
	book, err := Load([]File{{"a.yaml", []byte(b.String())}})
	if err != nil || len(book.Questions) != 0 {
		t.Error(err, book)
	}
	b.WriteString("  last: {source: x, fresh: {P: 1}, where: 'vehicle.tags[\"t5\"] == \"v1\" && component.kind == \"axle\"'}\n")
	if _, err = Load([]File{{"a.yaml", []byte(b.String())}}); err == nil || !strings.Contains(err.Error(), `baselines "b32" (a.yaml:35:3) and "last" both match a vehicle tagged t0 "v0"`) {
		t.Error(err)
	}
}

// Two tasks that take one task's place are asked about with a vehicle that both match.
func TestTwins(t *testing.T) {
	const text = `book: 1
tasks:
  oil: {every: {time: 12 months}}
  hills: {over: oil, every: {time: 6 months}, where: 'vehicle.tags["road"] == "hills"'}
  gritters: {over: %s, every: {time: 3 months}, where: vehicle.kind == "gritter"}
  vans: {over: oil, every: {time: 9 months}, where: 'vehicle.kind == "van" && vehicle.tags["road"] != "hills"'}
`
	for over, want := range map[string]string{
		"oil":          "a.yaml:5:3: tasks \"hills\" (a.yaml:4:3) and \"gritters\" are both `over` \"oil\", and both match a vehicle of kind \"gritter\" tagged road \"hills\"",
		"[hills, oil]": "",
	} {
		b, err := Load([]File{{"a.yaml", fmt.Appendf(nil, text, over)}})
		if err != nil {
			t.Fatal(err)
		}
		got := ""
		for _, q := range b.Questions {
			got, _, _ = strings.Cut(q.String(), "\n")
			got = strings.TrimSuffix(got, " with a component")
		}
		if got != want {
			t.Errorf("over %s: got %s, want %s", over, got, want)
		}
	}
}
