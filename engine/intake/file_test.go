package intake

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"

	"telltale/engine/event"
	"telltale/engine/fleet"
)

// readAll reports each line as "line: reason" or "line: kind vehicle".
func readAll(r io.Reader) (string, error) {
	var out strings.Builder
	err := ReadFile(r, func(line int, ev event.Event, err error) error {
		if ev.Line != line {
			return fmt.Errorf("line %d says it is %d", line, ev.Line)
		}
		if err != nil {
			fmt.Fprintf(&out, "%d: %v\n", line, err)
		} else {
			fmt.Fprintf(&out, "%d: %s %s\n", line, ev.Kind, ev.Vehicle)
		}
		return nil
	})
	return out.String(), err
}

func TestReadFile(t *testing.T) {
	ok := reading(`{"meter":"odometer","value":1,"unit":"km"}`)
	tooLong := `{"specversion":"1.0","foo":"` + strings.Repeat("x", 3*MaxBytes) + `"}`
	fits := ok[:len(ok)-1] + strings.Repeat(" ", MaxBytes-len(ok)) + "}"
	file := "\xEF\xBB\xBF" + ok + "\r\n\n   \n{\n" + tooLong + "\n" + fits + "\n" + fits + " \n" + fits[:50] + "  " + fits[50:] + "\n" + ok
	want := `1: reading bus-07
4: not JSON: it ends too early
5: line longer than 65536 bytes
6: reading bus-07
7: reading bus-07
8: line longer than 65536 bytes
9: reading bus-07
`
	for name, r := range map[string]io.Reader{
		"whole": strings.NewReader(file), "halves": iotest.HalfReader(strings.NewReader(file)), "late end": iotest.DataErrReader(strings.NewReader(file)),
	} {
		if got, err := readAll(r); err != nil || got != want {
			t.Errorf("%s: %v\n got %s\nwant %s", name, err, got, want)
		}
	}
}

func TestReadFileEnds(t *testing.T) {
	ok := reading(`{"meter":"odometer","value":1,"unit":"km"}`) + "\n"
	broken := errors.New("disk gone")
	_, err := readAll(io.MultiReader(strings.NewReader(ok), iotest.ErrReader(broken)))
	if !errors.Is(err, broken) || err.Error() != "reading line 2: disk gone" {
		t.Errorf("got %v", err)
	}
	lines := 0
	err = ReadFile(strings.NewReader(ok+ok), func(int, event.Event, error) error { lines++; return broken })
	if err != broken || lines != 1 {
		t.Errorf("got %v after %d lines", err, lines)
	}
	if got, err := readAll(strings.NewReader("")); got != "" || err != nil {
		t.Errorf("an empty file gave %q, %v", got, err)
	}
}

func TestHolds(t *testing.T) {
	ok := reading(`{"meter":"tick","value":1,"unit":"km"}`) + "\n"
	tick, _ := Encode(Tick(at("2031-01-03T06:15:00Z")))
	escaped := strings.Replace(string(tick), "tick", `\u0074ick`, 1)
	set := &fleet.Set{Number: 1, Turn: "2031-02-01T00:00:00Z", Now: at("2031-02-01T00:00:00Z"), Baselines: []fleet.Baseline{}}
	baseline, _ := Encode(set.Event())
	for _, c := range []struct {
		file string
		want Own
	}{
		{ok, Own{}}, {"", Own{}}, {ok + string(tick), Own{Ticks: true}}, {ok + escaped + "\n" + ok, Own{Ticks: true}},
		{ok + strings.Replace(string(tick), "1.0", "0.3", 1), Own{}},
		{ok + string(baseline), Own{Baselines: true}}, {string(baseline) + "\n" + string(tick) + "\n", Own{true, true}},
	} {
		if got, err := Holds(strings.NewReader(c.file)); err != nil || got != c.want {
			t.Errorf("%s: %v, %v", c.file, got, err)
		}
	}
	broken := errors.New("disk gone")
	if _, err := Holds(iotest.ErrReader(broken)); !errors.Is(err, broken) {
		t.Errorf("got %v", err)
	}
}

// A baseline event with its set comes back whole, also where it is longer than any
// event from outside may be; one that was tampered with is refused.
func TestBaselineEvent(t *testing.T) {
	set := &fleet.Set{Number: 3, Turn: "2031-04-01T00:00:00Z", Now: at("2031-04-01T00:00:00Z"), Book: "sha256:" + strings.Repeat("a", 64)}
	group := fleet.Group{Of: []string{"15W-40"}, Samples: 12, Vehicles: 4, Analytes: []fleet.Analyte{}}
	for range 20_000 {
		group.Analytes = append(group.Analytes, fleet.Analyte{Analyte: "Fe", N: 12})
	}
	set.Baselines = []fleet.Baseline{{Name: "oil", Definition: "d", GroupBy: []string{"component.fluid"}, Groups: []fleet.Group{group}}}
	line, err := Encode(set.Event())
	if err != nil || len(line) < MaxBytes*4 {
		t.Fatal(len(line), err)
	}
	var lines int
	err = ReadFile(strings.NewReader(string(line)+"\n"+string(line)), func(n int, ev event.Event, err error) error {
		lines++
		if err != nil || !reflect.DeepEqual(ev.Data.(*fleet.BaselineData).Set, set) {
			t.Errorf("line %d: %v", n, err)
		}
		return nil
	})
	if err != nil || lines != 2 {
		t.Errorf("%d lines, %v", lines, err)
	}
	_, err = Decode([]byte(strings.Replace(string(line), `"n":12`, `"n":13`, 1)))
	if err == nil || !strings.HasPrefix(err.Error(), "data.set: its hash is ") {
		t.Errorf("tampered: %v", err)
	}
	if _, err := DecodeMessage("telltale.in.bus-07.reading", line); err == nil || !strings.Contains(err.Error(), "the limit for an event is 65536") {
		t.Errorf("from outside: %v", err)
	}
}
