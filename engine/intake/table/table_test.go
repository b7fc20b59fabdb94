package table

import (
	"bytes"
	"cmp"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/tools/txtar"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/rules/unit"
)

var update = flag.Bool("update", false, "write what the tables give into testdata")

// TestTables reads the tables of testdata: each archive holds a mapping, a file and
// what came of it, events or faults; perhaps a register to check against.
func TestTables(t *testing.T) {
	names, err := filepath.Glob("testdata/*.txtar")
	if err != nil || len(names) == 0 {
		t.Fatalf("no tables: %v", err)
	}
	for _, name := range names {
		t.Run(strings.TrimSuffix(filepath.Base(name), ".txtar"), func(t *testing.T) {
			ar, err := txtar.ParseFile(name)
			if err != nil {
				t.Fatal(err)
			}
			got := outcome(t, ar)
			if *update {
				put(ar, "want", got)
				if err := os.WriteFile(name, txtar.Format(ar), 0o644); err != nil {
					t.Fatal(err)
				}
				return
			}
			if want := part(ar, "want"); got != want {
				t.Errorf("got\n%s\nwant\n%s", got, want)
			}
		})
	}
}

// Each key of a field sets it: one that the rows forgot fails here.
func TestColumnsSetFields(t *testing.T) {
	cells := map[string]string{"revision": "2", "repeat": "1", "taken": "after", "flush": "yes", "filter": "yes", "valid until": "14 Mar 2032"}
	for i, kind := range kinds {
		if kind == event.VehicleEvent {
			continue // TestVehicleColumns
		}
		text := "import: " + kindWords[i] + "\nsource: /sheet\nzone: UTC\nvehicle: {always: bus-07}\ndate: {always: 2031-02-10}\n"
		heads, row := "any", "1"
		for _, f := range intake.Fields(kind) {
			cell := "name"
			switch unit := map[unit.Kind]string{unit.Distance: "km", unit.Volume: "L", unit.Density: "g/mL"}; {
			case f.Key == "meters":
				text += "meters: {odometer: {column: any, unit: km}}\n"
			case f.Key == "results":
				text += "results: {Cu: {column: any, unit: mg/kg}}\n"
			case f.Units != nil:
				text += f.Key + ": {column: " + f.Key + ", unit: " + unit[f.Units[0]] + "}\n"
				cell = "3"
			case f.Key != intake.Apart:
				text += f.Key + ": " + f.Key + "\n"
			}
			heads, row = heads+","+f.Key, row+","+cmp.Or(cells[f.Key], cell)
		}
		m, err := ReadMapping("map.yaml", []byte(text))
		if err != nil {
			t.Fatal(err)
		}
		table, err := m.Read("f.csv", strings.NewReader(heads+"\n"+row+"\n"), nil)
		if err != nil || len(table.Events) != 1 {
			t.Fatalf("%v: %v", table, err)
		}
		for _, f := range intake.Fields(kind) {
			if reflect.ValueOf(f.In(table.Events[0].Data)).Elem().IsZero() {
				t.Errorf("the column of %s sets nothing", f.Path)
			}
		}
	}
}

func part(ar *txtar.Archive, name string) string {
	for _, f := range ar.Files {
		if f.Name == name {
			return string(f.Data)
		}
	}
	return ""
}

func put(ar *txtar.Archive, name, text string) {
	for i := range ar.Files {
		if ar.Files[i].Name == name {
			ar.Files[i].Data = []byte(text)
			return
		}
	}
	ar.Files = append(ar.Files, txtar.File{Name: name, Data: []byte(text)})
}

// outcome reads the archive's table and writes down what came of it.
func outcome(t *testing.T, ar *txtar.Archive) string {
	m, err := ReadMapping("map.yaml", []byte(part(ar, "map.yaml")))
	if err != nil {
		return err.Error() + "\n"
	}
	var fleet *Fleet
	if text := part(ar, "vehicles.yaml"); text != "" {
		fleet = fleetOf(t, text, strings.Split(strings.TrimSpace(part(ar, "tasks")), "\n"))
	}
	table, err := m.Read("file.csv", strings.NewReader(part(ar, "file.csv")), fleet)
	if err != nil {
		return err.Error() + "\n"
	}
	var b strings.Builder
	for _, ev := range table.Events {
		line, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "%d %s\n", ev.Line, line)
	}
	fmt.Fprintf(&b, "%d rows, left out %v, without value %v, repeated %v\n", table.Rows, table.LeftOut, table.NoValue, table.Repeated)
	return b.String()
}

func fleetOf(t testing.TB, text string, tasks []string) *Fleet {
	events, err := intake.Register("vehicles.yaml", []byte(text), time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	f := FleetOf(events)
	f.Tasks = func(string) (out []job.Task, err error) {
		for _, t := range tasks {
			name, comp, _ := strings.Cut(t, " of ")
			out = append(out, job.Task{Name: name, Title: "The " + name, Component: comp})
		}
		return out, nil
	}
	return f
}

// The same file gives the same events, to the byte, and a file with a fault none.
func TestSameFileSameEvents(t *testing.T) {
	names, _ := filepath.Glob("testdata/*.txtar")
	for _, name := range names {
		ar, err := txtar.ParseFile(name)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := outcome(t, ar), outcome(t, ar); a != b {
			t.Errorf("%s: once\n%s\nand again\n%s", name, a, b)
		}
	}
}

// Rows that are added, taken out or sorted otherwise do not change how the others
// are named.
func TestIdentityIsNotTheRow(t *testing.T) {
	m, err := ReadMapping("map.yaml", []byte("import: readings\nsource: /sheet\nzone: UTC\nvehicle: {column: V}\ndate: {column: D}\nmeters: {odometer: {column: Km, unit: km}}\n"))
	if err != nil {
		t.Fatal(err)
	}
	ids := func(rows ...string) map[string]bool {
		table, err := m.Read("f", strings.NewReader("V,D,Km\n"+strings.Join(rows, "\n")), nil)
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]bool{}
		for _, ev := range table.Events {
			out[ev.ID.ID] = true
		}
		return out
	}
	long := ids("a,2031-01-02,1", "b,2031-01-03,2", "a,2031-01-04,3")
	for id := range ids("a,2031-01-04,3", "b,2031-01-03,2") {
		if !long[id] {
			t.Errorf("%s was not there before", id)
		}
	}
	if len(long) != 3 || !long["b/2031-01-03T00:00:00Z/odometer"] {
		t.Errorf("ids %v", long)
	}
}

func TestLimits(t *testing.T) {
	m, err := ReadMapping("map.yaml", []byte("import: services\nsource: /sheet\nzone: UTC\nvehicle: {column: V}\ndate: {column: D}\nnote: {column: N}\n"))
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		strings.Repeat("x", maxBytes+1):                                "f.csv: it has more than 16 MiB\nhint: split it into several files",
		"V,D,N" + strings.Repeat(",", maxColumns) + "\n":               "f.csv:1:501: 503 columns, more than 500",
		"V,D,N\na,2031-01-02," + strings.Repeat("n", maxCell+1) + "\n": "f.csv:2:3: a cell of 8193 bytes; the limit is 8192",
		"V,D,N\n" + strings.Repeat("a,2031-01-02,x\n", maxRows+1):      "f.csv:200002:1: more than 200000 rows\nhint: split it into several files",
		"": "f.csv: it has no row 1 with headings\nhint: in map.yaml: heading: 1",
		"V,D,N\na,2031-01-02,\"x\ny": `f.csv:2:1: a quoted cell that goes on after its closing quote, or is never closed (line 3, byte 2)` +
			"\n" + `hint: a cell with a quote is written "so ""quoted"" here"; nothing after it was read`,
	} {
		if _, err := m.Read("f.csv", strings.NewReader(text), nil); err == nil || err.Error() != want {
			t.Errorf("%.30q: got\n%v\nwant\n%s", text, err, want)
		}
	}
}

// A text is the same in every encoding that has its letters.
func TestEncodings(t *testing.T) {
	const text = "V,D,N\nbüs-7,2031-01-02,Öl gewechselt\n"
	for name, enc := range encodings {
		raw := []byte(text)
		if enc != nil {
			var err error
			if raw, err = enc.NewEncoder().Bytes(raw); err != nil {
				continue // has no such letters
			}
		}
		m, err := ReadMapping("map.yaml", []byte("import: services\nsource: /sheet\nzone: UTC\nencoding: "+name+"\nvehicle: {column: V}\ndate: {column: D}\nnote: {column: N}\n"))
		if err != nil {
			t.Fatal(err)
		}
		if name == "utf-16" {
			raw = append(bytes.Clone(bomBE), bytes.TrimPrefix(raw, bomBE)...)
		}
		table, err := m.Read("f.csv", bytes.NewReader(raw), nil)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if ev := table.Events[0]; ev.Vehicle != "büs-7" || ev.Data.(*event.ServiceData).Note != "Öl gewechselt" {
			t.Errorf("%s: read %q, %q", name, ev.Vehicle, ev.Data.(*event.ServiceData).Note)
		}
	}
}

func TestWrongEncoding(t *testing.T) {
	for _, c := range []struct{ encoding, raw, want string }{
		{"utf-8", "V,D,N\na,2031-01-02,\xd6l\n", "f.csv:2:3: a character that is not in utf-8, after \"a,2031-01-02,\"\nhint: in map.yaml: encoding: windows-1252 (or " + strings.Join(encodingNames, ", ") + ")"},
		{"utf-8", "\xff\xfeV\x00", "f.csv:1:1: the file begins as UTF-16 does, but is to be read as utf-8\nhint: in map.yaml: encoding: utf-16"},
		{"utf-8", "V\x00,\x00", "f.csv:1:1: a zero byte: the file is not UTF-8\nhint: in map.yaml: encoding: utf-16le"},
		{"windows-1252", "\xef\xbb\xbfV,D,N\n", "f.csv:1:1: the file begins as UTF-8 does, but is to be read as windows-1252\nhint: in map.yaml: encoding: utf-8"},
		{"windows-1252", "V,D,N\n\x81,2031-01-02,x\n", "f.csv:2:1: a character that is not in windows-1252, after \"\""},
		{"utf-16", "V,D,N\n", "f.csv:1:1: reading it as utf-16: encoding: missing byte order mark\nhint: in map.yaml: encoding: utf-16le"},
	} {
		m, err := ReadMapping("map.yaml", []byte("import: services\nsource: /sheet\nzone: UTC\nencoding: "+c.encoding+"\nvehicle: {column: V}\ndate: {column: D}\nnote: {column: N}\n"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := m.Read("f.csv", strings.NewReader(c.raw), nil); err == nil || err.Error() != c.want {
			t.Errorf("%q as %s: got\n%v\nwant\n%s", c.raw, c.encoding, err, c.want)
		}
	}
}

// What is known, what was taken out, and what was changed since.
func TestFresh(t *testing.T) {
	at := time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	one := func(id string, row int) event.Event {
		ev, err := intake.Checked(event.Event{ID: event.ID{Source: "/sheet", ID: id}, Kind: event.ReadingEvent, Vehicle: "v", Time: at, Recorded: at,
			Data: &event.ReadingData{Meter: "odometer", Value: 5, Unit: "km"}})
		if err != nil {
			t.Fatal(err)
		}
		ev.Line = row
		return ev
	}
	table := &Table{Events: []event.Event{one("new", 1), one("same", 2), one("out", 3), one("out before it came", 4), one("out, changed", 5)}}
	of := func(i int, digest string, out bool) Known {
		return Known{ID: table.Events[i].ID, Digest: digest, TakenOut: out}
	}
	same := table.Events[1].Hash()
	known := map[string][]Known{"v": {of(1, same, false), of(2, table.Events[2].Hash(), true), of(3, "", true), of(4, "1", true)}}
	fresh, err := table.Fresh("a.csv", known, at.Add(time.Hour))
	if err != nil || len(fresh) != 2 || fresh[0].Line != 1 || fresh[1].Line != 5 || !slices.Equal(table.TakenOut, []int{3, 4}) {
		t.Errorf("%+v, taken out %v (%v)", fresh, table.TakenOut, err)
	}
	known["v"][0].Digest = "2"
	_, err = table.Fresh("a.csv", known, at.Add(-time.Hour))
	want := "a.csv:1:1: dated 2031-01-01, which is more than a day ahead\nhint: is the date order right?\n" +
		"a.csv:2:1: an entry \"same\" of /sheet exists already and says something else\nhint: take the first out, then import again: telltale undo v same\n" +
		"a.csv:5:1: dated 2031-01-01, which is more than a day ahead\nhint: is the date order right?"
	if err == nil || err.Error() != want {
		t.Errorf("got\n%v\nwant\n%s", err, want)
	}
}

// Work on a fluid is on the component that its task is kept for; where there are several,
// the mapping says.
func TestComponentFollowsFromTask(t *testing.T) {
	const mapping = `import: services
source: /workshop
zone: UTC
decimal mark: point
vehicle: Vehicle
date: Date
tasks: Work
filled: {column: Litres, unit: L}
`
	m, err := ReadMapping("map.yaml", []byte(mapping))
	if err != nil {
		t.Fatal(err)
	}
	fleet := fleetOf(t, `vehicles:
  van-3:
    name: Van 3
    kind: van
    components: {engine: {kind: engine, fluid: 5W-30}, axle: {kind: axle, fluid: 75W-90}}
`, []string{"oil of engine", "oils of engine", "oils of axle"})
	read, err := m.Read("a.csv", strings.NewReader("Vehicle,Date,Work,Litres\nvan-3,2031-01-02,The oil,5.5\n"), fleet)
	if err != nil {
		t.Fatal(err)
	}
	if d := read.Events[0].Data.(*event.ServiceData); d.Component != "engine" || d.Fluid.Name != "5W-30" || d.Tasks[0] != "oil" {
		t.Errorf("%+v %+v", d, d.Fluid)
	}
	for work, want := range map[string]string{"oils": "engine, axle", "": "engine, axle"} {
		_, err := m.Read("a.csv", strings.NewReader("Vehicle,Date,Work,Litres\nvan-3,2031-01-02,"+work+",5.5\n"), fleet)
		want := "a.csv:2:1: which component? van-3 has " + want + "\nhint: in map.yaml: component: {always: engine}"
		if err == nil || err.Error() != want {
			t.Errorf("%q: got\n%v\nwant\n%s", work, err, want)
		}
	}
}
