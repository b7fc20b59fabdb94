package rules

import (
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// wordsTable is the reference in README.md.
func wordsTable() string {
	var b strings.Builder
	b.WriteString("\n| word | unit | meaning | source | example |\n| --- | --- | --- | --- | --- |\n")
	for _, w := range word.All() {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s | `%s` |\n", w.Signature, w.Unit, w.Meaning, w.Source, strings.ReplaceAll(w.Example, "|", `\|`))
	}
	b.WriteString("\n| function | meaning |\n| --- | --- |\n")
	for _, f := range word.Functions {
		fmt.Fprintf(&b, "| `%s` | %s |\n", f.Signature, f.Meaning)
	}
	b.WriteString("\n")
	return b.String()
}

// The references in README.md are what Words and CautionNames say; `go test
// -update` writes them.
func TestReadmeListsTheWords(t *testing.T) {
	listed(t, "words", wordsTable())
	names := CautionNames()
	for i, n := range names {
		names[i] = "`" + n + "`"
	}
	listed(t, "cautions", strings.Join(names, ", ")+".\n")
}

// listed compares a part of README.md with what it should be.
func listed(t *testing.T, part, want string) {
	t.Helper()
	begin, end := "<!-- "+part+" -->\n", "<!-- end of "+part+" -->\n"
	raw, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(raw), begin)
	got, after, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatal("README.md has no place for the " + part)
	}
	if *update {
		if err := os.WriteFile("README.md", []byte(before+begin+want+end+after), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if got != want {
		t.Errorf("the %s in README.md are stale: run go test ./rules -update", part)
	}
}

// The file shown in README.md is a book, without questions.
func TestReadmesFile(t *testing.T) {
	raw, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(raw), "```yaml\n")
	text, _, _ := strings.Cut(rest, "```")
	if b := load(t, text); len(b.Questions) > 0 || len(b.Rules) != 3 || len(b.Tasks) != 1 {
		t.Errorf("%v", source.Faults(b.Questions))
	}
}

// The parts of files that README.md shows are right, each in a file around it.
func TestReadmesParts(t *testing.T) {
	raw, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(string(raw), "```yaml\n")[2:] // the first is a whole file
	if len(parts) < 3 {
		t.Fatalf("%d parts of files are shown", len(parts))
	}
	for _, p := range parts {
		p, _, _ = strings.Cut(p, "```")
		first, rest, _ := strings.Cut(p, "\n")
		switch first {
		case "tasks:":
			p = "tasks:\n  engine oil: {where: component.kind == \"diesel engine\", every: {distance: 15000 km}, cautions: [hot fluid]}\n" + rest
		case "follow up:":
			p = "tasks:\n  t:\n    every: {distance: 15000 km}\n    cautions: [hot fluid]\n    " + strings.ReplaceAll(strings.TrimSpace(p), "\n", "\n    ") + "\n"
		}
		if b := load(t, "book: 1\n"+p); len(b.Questions)+len(b.Uncautioned) > 0 {
			t.Errorf("%s\n%v%v", p, source.Faults(b.Questions), source.Faults(b.Uncautioned))
		}
	}
}

// Every word has all of its documentation, a signature that begins with its name, and
// an example that compiles.
func TestWords(t *testing.T) {
	for _, d := range word.All() {
		if !strings.HasPrefix(d.Signature, d.Name+"(") || d.Meaning == "" || d.Source == "" {
			t.Errorf("%+v", d)
		}
		text := "book: 1\ntasks:\n"
		for _, name := range []string{"oil", "engine oil", "brake check", "inspection", "timing belt"} {
			text += "  " + name + ": {every: {distance: 1 km}}\n"
		}
		text += "baselines: {b: {source: invented, fluid age: 60000 km, mean: {Fe: 90, Cu: 40}}, c: {from: fleet, over: b}}\nrules:\n"
		for _, name := range []string{"coolant is sour", "iron over baseline"} {
			text += "  " + name + ": {on: sample, measure: value(\"Fe\"), above: {caution: 3}}\n"
		}
		text += "  r:\n    on: sample\n    stage: caution\n    raise: |\n      "
		example := d.Example
		if !d.Truth && !strings.ContainsAny(example, "<>=") {
			example += " > 1"
		}
		if _, err := Load([]File{{"a.yaml", []byte(text + example + "\n")}}); err != nil {
			t.Errorf("%s: %v", d.Name, err)
		}
	}
}

// The two files that the main README shows side by side are of one meaning: they apply to
// the same engines, judge alike, and say the same to a reader of either unit.
func TestReadmesTwoUnits(t *testing.T) {
	raw, err := os.ReadFile("../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, section, _ := strings.Cut(string(raw), "\n## In miles or in kilometres\n")
	var said [2][]string
	for i, part := range strings.Split(section, "```yaml\n")[1:3] {
		part, _, _ = strings.Cut(part, "```")
		b := load(t, part)
		if len(b.Questions) > 0 {
			t.Error(source.Faults(b.Questions))
		}
		j, r := NewJudge(b), b.Rules[0]
		for _, capacity := range []float64{5.6, 5.7} {
			fits, _ := j.Matches(r.Where, &word.Vehicle{}, &word.Component{Capacity: capacity})
			said[i] = append(said[i], fmt.Sprint(fits))
		}
		for _, age := range []float64{4.82e6, 4.84e6} {
			f := &fakeFacts{comp: gearbox, numbers: map[string]float64{`value("Fe")`: 61, "fluidAge()": age}}
			said[i] = append(said[i], outcome(j.Run(r, f)))
			for _, units := range []unit.System{{Distance: "mi"}, {Distance: "km"}} {
				j.Reads(english.Reader{Units: units})
				said[i] = append(said[i], j.Say(r, Caution, f, 0), j.Advise(r, Caution, f, 0))
			}
		}
	}
	miles := []string{"Iron 61 mg/kg after 2,995 mi", "Sample again within 3,000 mi."}
	km := []string{"Iron 61 mg/kg after 4,820 km", "Sample again within 5,000 km."}
	want := slices.Concat([]string{"false", "true", "clear"}, miles, km, []string{"raised", "Iron 61 mg/kg after 3,007 mi", miles[1], "Iron 61 mg/kg after 4,840 km", km[1]})
	for i, of := range []string{"miles", "km"} {
		if !slices.Equal(said[i], want) {
			t.Errorf("in %s:\n%q\nwant\n%q", of, said[i], want)
		}
	}
}
