package rules

import (
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/rules/source"
	"telltale/rules/unit"
)

const larkfell = `book: 1
units: {distance: km, volume: L}

baselines:
  light bus transmission fluid:
    where: component.kind == "automatic transmission"
    fluid age: 60000 km
    source: invented for the sample fleet
    mean: {Fe: 90, Cu: 40 mg/kg, Al: 22, Si: 14, Na: 6, K: 3, KV100: 6.9 cSt}
    fresh: {P: 290, Ca: 130, B: 55}

tasks:
  transmission fluid:
    title: Drain and refill the transmission, new filter
    was: gearbox oil
    where: component.kind == "automatic transmission"
    every: {distance: 45000 km, time: 36 months}
    early: {distance: 2000 km, time: 30 days}
    tolerance: 10%
    shorten: 'vehicle.tags["road"] == "hills" ? 0.75 : 1.0'
    unknown history: due
    needs: [{fluid: ATF, volume: 4 L}, {part: filter and gasket kit}]
    cautions: [hot fluid, raised vehicle, used fluid]
    follow up: {leak check: {after: {distance: 500 km}}}
  brake check:
    every: {time: 2 years, hours: 500 h}
    tolerance: {time: 2 weeks}
    unknown history: from in-service date
    count from: schedule
    statutory: yes
    needs: [{part: brake pad, count: 4}]

rules:
  copper over baseline:
    on: sample
    where: component.kind == "automatic transmission"
    measure: times("Cu")
    above: {advisory: 2, caution: 3, warning: 5}
    deadband: 10%
    confirm: 2
    say: Copper ${value("Cu")} mg/kg is ${round(measure, 1)} times the baseline
    points to: [bushings, thrust washers, cooler]
    advise:
      advisory: Sample again at the next service.
      caution: Sample again within 5,000 km; look for bronze in pan and filter.
      warning: Stop and have the transmission inspected before further use.
    follow up: {resample: {within: {distance: 5000 km, time: 90 days}, settled by: sample}}
    cautions: {warning: [hot fluid, raised vehicle]}

  coolant in the fluid:
    on: [sample, service]
    raise: value("Na") - fresh("Na") > 15 && value("K") - fresh("K") > 10 && change("K") > 0
    stage: warning
    masked: no
    say: Sodium and potassium have risen together; coolant is not ruled out
    advise: Stop; check the coolant level, pressure-test the cooler, test for water and glycol.
    cautions: [pressurised coolant]
    follow up:
      warning: {cooler test: {within: {time: 1 day}, title: Test the cooler, cautions: [hot]}}

  laid up:
    on: clock
    raise: perDay() < 1
    clear: perDay() > 5
    stage: advisory

cases:
  half a drain does not hide the copper:
    given: [2031-04-02 sample bus-07 transmission odo 81200 Cu 131]
    expect: [{on: 2031-04-02, rule: copper over baseline, to: caution}]
`

func load(t testing.TB, text string) *Book {
	t.Helper()
	b, err := Load([]File{{"rules/a.yaml", []byte(text)}})
	if err != nil {
		t.Fatalf("loading:\n%v", err)
	}
	return b
}

// plain drops what is compiled, so that the rest can be compared whole.
func plain(b *Book) {
	for _, t := range b.Tasks {
		t.Where, t.Shorten, t.Sources = nil, nil, nil
	}
	for _, r := range b.Rules {
		r.Where, r.compiled, r.run, r.Sources = nil, nil, nil, nil
	}
	for _, bl := range b.Baselines {
		bl.Where, bl.Sources = nil, nil
	}
}

func TestLoadOfAWholeBook(t *testing.T) {
	b := load(t, larkfell)
	hash := b.Hash
	plain(b)
	place := func(line int) source.Place { return source.Place{File: "rules/a.yaml", Line: line, Col: 3} }
	wantTasks := []*Task{
		{Part: Part{Name: "brake check", Title: "brake check", At: place(25)}, Every: Limits{Hours: 500 * 3600, Months: 24}, Tolerance: Tolerance{Fixed: Limits{Days: 14}},
			History: HistoryInService, FromSchedule: true, Statutory: true, Needs: []Need{{Part: "brake pad", Count: 4}}},
		{Part: Part{Name: "transmission fluid", Was: []string{"gearbox oil"}, Title: "Drain and refill the transmission, new filter", PerComponent: true, At: place(13)},
			Every: Limits{Distance: 45e6, Months: 36}, Early: Limits{Distance: 2e6, Days: 30}, Tolerance: Tolerance{Share: 0.1},
			Needs:    []Need{{Fluid: "ATF", Volume: 4}, {Part: "filter and gasket kit", Count: 1}},
			Cautions: []string{"hot fluid", "raised vehicle", "used fluid"},
			FollowUps: []FollowUp{{Name: "leak check", Title: "leak check", At: Limits{Distance: 500e3},
				Cautions: []string{"hot fluid", "raised vehicle", "used fluid"}}}},
	}
	hot := []string{"hot fluid", "raised vehicle"}
	coolant := []string{"pressurised coolant"}
	wantRules := []*Rule{
		{Part: Part{Name: "coolant in the fluid", Title: "coolant in the fluid", PerComponent: true, At: place(50)}, On: OnSample | OnService,
			Has: [4]bool{3: true}, Confirm: [4]int{1, 1, 1, 1}, Stage: Warning, Cautions: [4][]string{1: coolant, 2: coolant, 3: coolant},
			FollowUps: []FollowUp{{Name: "cooler test", Title: "Test the cooler", Within: true, At: Limits{Days: 1}, Cautions: []string{"hot"}, Stage: Warning}}},
		{Part: Part{Name: "copper over baseline", Title: "copper over baseline", PerComponent: true, At: place(34)}, On: OnSample, Measured: true,
			Has: [4]bool{1: true, 2: true, 3: true}, Deadband: 0.1, Confirm: [4]int{1, 2, 2, 1}, Masked: true,
			PointsTo: []string{"bushings", "thrust washers", "cooler"}, Cautions: [4][]string{3: hot},
			FollowUps: []FollowUp{{Name: "resample", Title: "resample", Within: true, At: Limits{Distance: 5e6, Days: 90}, BySample: true, Cautions: hot}}},
		{Part: Part{Name: "laid up", Title: "laid up", At: place(61)}, On: OnClock, Has: [4]bool{1: true}, Confirm: [4]int{1, 1, 1, 1}, Stage: Advisory, HasClear: true, Masked: true},
	}
	wantBaselines := []*Baseline{{Part: Part{Name: "light bus transmission fluid", Title: "light bus transmission fluid", PerComponent: true, At: place(5)}, FluidAge: Limits{Distance: 60e6}, Source: "invented for the sample fleet",
		Mean:  map[string]float64{"Fe": 90, "Cu": 40, "Al": 22, "Si": 14, "Na": 6, "K": 3, "KV100": 6.9},
		Fresh: map[string]float64{"P": 290, "Ca": 130, "B": 55}}}
	if !reflect.DeepEqual(b.Tasks, wantTasks) {
		t.Errorf("tasks: got %s\nwant %s", show(b.Tasks), show(wantTasks))
	}
	if !reflect.DeepEqual(b.Rules, wantRules) {
		t.Errorf("rules: got %s\nwant %s", show(b.Rules), show(wantRules))
	}
	if !reflect.DeepEqual(b.Baselines, wantBaselines) {
		t.Errorf("baselines: got %s\nwant %s", show(b.Baselines), show(wantBaselines))
	}
	if len(b.Cases) != 1 || b.Cases[0].Name != "half a drain does not hide the copper" || len(b.Cases[0].Given) != 1 || len(b.Cases[0].Expect) != 1 {
		t.Errorf("cases: %s", show(b.Cases))
	}
	if want := unit.Metric; b.Units != want || len(b.Questions) != 0 || !strings.HasPrefix(hash, "sha256:") || len(hash) != 71 {
		t.Errorf("units %v, questions %v, hash %s", b.Units, b.Questions, hash)
	}
}

func show[T any](list []*T) string {
	var s strings.Builder
	for _, e := range list {
		fmt.Fprintf(&s, "\n  %+v", *e)
	}
	return s.String()
}

// The hash covers names and texts, not the order or the folder in which files are given.
func TestHash(t *testing.T) {
	one, two := File{"rules/a.yaml", []byte("book: 1\n")}, File{"rules/b.yaml", []byte("book: 1\ntasks: {}\n")}
	hashOf := func(files ...File) string {
		b, err := Load(files)
		if err != nil {
			t.Fatal(err)
		}
		return b.Hash
	}
	base := hashOf(one, two)
	same := [][]File{{two, one}, {{"/etc/x/b.yaml", two.Text}, {`c:\y\a.yaml`, one.Text}}}
	other := [][]File{{one}, {{"rules/a.yaml", two.Text}, {"rules/b.yaml", one.Text}}, {{"a.yml", one.Text}, two},
		{{"rules/a.yaml", []byte("book: 1\n#\n")}, two}, {}}
	for _, files := range same {
		if h := hashOf(files...); h != base {
			t.Errorf("%v: another hash", files)
		}
	}
	for _, files := range other {
		if h := hashOf(files...); h == base {
			t.Errorf("%v: the same hash", files)
		}
	}
}

// A file of 256 KiB is read, one of a byte more is not, and both take little time.
func TestSizeOfAFile(t *testing.T) {
	const fileLimit = 256 << 10
	fill := func(n int) []byte {
		head := "book: 1\n#"
		return []byte(head + strings.Repeat("x", n-len(head)))
	}
	if _, err := Load([]File{{"a.yaml", fill(fileLimit)}}); err != nil {
		t.Error(err)
	}
	_, err := Load([]File{{"a.yaml", fill(fileLimit + 1)}})
	want := "a.yaml:1:1: the file is 257 KiB long; the limit is 256 KiB\nhint: split it into several files of the folder; all files make one book"
	if err == nil || err.Error() != want {
		t.Errorf("got %v\nwant %s", err, want)
	}
}

// Forty thousand names, and forty thousand misspelt ones, are read in linear time.
func TestManyKeys(t *testing.T) {
	var files []File
	for part := range 4 {
		var b strings.Builder
		b.WriteString("book: 1\nbaselines:\n")
		for i := range 10000 {
			fmt.Fprintf(&b, " k%d%05d: {was: 1}\n", part, i)
		}
		files = append(files, File{fmt.Sprintf("%d.yaml", part), []byte(b.String())})
	}
	_, err := Load(files)
	faults, _ := err.(source.Faults)
	if len(faults) != 80000 {
		t.Errorf("%d faults", len(faults))
	}
	if !slices.IsSortedFunc(faults, func(a, b source.Fault) int { return a.Place.Compare(b.Place) }) {
		t.Error("the faults are not in order")
	}
	var b strings.Builder
	b.WriteString("book: 1\nx: {")
	for i := range 40000 {
		fmt.Fprintf(&b, "%d,", i)
	}
	if _, err := Load([]File{{"a.yaml", []byte(b.String() + "}")}}); err == nil {
		t.Error("no fault")
	}
}

// Deep nesting and long lines end quickly, with a fault.
func TestHostileFiles(t *testing.T) {
	for name, text := range map[string]string{
		"lists":    "book: 1\nx: " + strings.Repeat("[", 100000),
		"mappings": "book: 1\nx: " + strings.Repeat("{a: ", 50000),
		"indent":   "book: 1\n" + strings.Repeat("- ", 50000),
		"brackets": "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("(", 4000) + "'}}",
		"nots":     "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("!", 4000) + "true'}}",
		"chains":   "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("1<(", 400) + "1" + strings.Repeat("<1)", 400) + "<1'}}",
		"choices":  "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("(", 300) + "true" + strings.Repeat("?:true)", 300) + "'}}",
		"lets":     "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("let a=1<2;", 300) + "a'}}",
		"guards":   "book: 1\nrules: {a: {on: sample, stage: caution, raise: '" + strings.Repeat(`has("Fe") && (`, 200) + "true" + strings.Repeat(")", 200) + "'}}",
		"one line": "book: 1\nrules: {" + func() string {
			var s strings.Builder
			for i := range 12000 {
				fmt.Fprintf(&s, "a%d: {on: 1}, ", i)
			}
			return s.String()
		}() + "}",
		"unseen":     "book: 1\nx: " + strings.Repeat("\u200b", 80000),
		"look-alike": "book: 1\nx: " + strings.Repeat("kм ", 40000),
		"tabs":       "book: 1\nx:\n" + strings.Repeat("\ta: \"b\n", 10000),
		"curly":      "book: 1\nrules: {a: {on: clock, stage: caution, raise: '" + strings.Repeat("“a” AND ", 400) + "'}}",
		"aliases":    "book: 1\nx: &a [1]\ny: [*a, *a, *a, *a]\n",
		"a template": "book: 1\nrules: {a: {on: clock, stage: caution, raise: 'true', say: '" + strings.Repeat("${x}", 4000) + "'}}",
	} {
		began := time.Now()
		b, err := Load([]File{{"a.yaml", []byte(text)}})
		if took := time.Since(began); took > 5*time.Second {
			t.Errorf("%s: it takes %v", name, took)
		}
		if b != nil && err != nil || len(fmt.Sprint(err)) > 16<<20 {
			t.Errorf("%s: a book beside a fault, or more of it than anyone reads", name)
		}
	}
}
