package stranger_test

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stranger"
	"telltale/rules/unit"
	"telltale/testdata/hostile"
)

// A vehicle that nobody registered: who reports, since when, and the lines that would
// register it, which the register reads back.
func TestStranger(t *testing.T) {
	p := engine.NewPartition()
	for i, line := range []string{
		"2031-01-03 reading bus-70 odometer 81234 km", "2031-01-09 reading bus-70 winch 12 h", "2031-01-05 sample bus-70 transmission odo 81300 km Cu 40",
		"2031-01-04 vehicle bus-07 minibus meter odometer", "2031-01-04 reading bus-07 odometer 3 km", "2031-01-02 service bus-70 \"engine oil\" on engine hours 700 h",
	} {
		ev, err := intake.Short(line, fmt.Sprint("e", i), unit.System{})
		if err != nil {
			t.Fatal(err)
		}
		p.Apply(ev)
	}
	got := p.AskedBy(p.By).Strangers()
	day := func(d int) time.Time { return time.Date(2031, 1, d, 0, 0, 0, 0, time.UTC) }
	want := []stranger.Vehicle{{Vehicle: "bus-70", First: day(2), Last: day(9), Events: 4, Sources: got[0].Sources,
		Meters: []stranger.Meter{{"hours", true}, {"odometer", false}, {"winch", true}}, Components: []string{"engine", "transmission"}}}
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("got %+v\nwant %+v", got, want)
	}
	lines := `  bus-70:
    name: bus-70
    kind: FILL IN
    meters: {hours: hours, odometer: distance, winch: hours}
    components:
      engine: {kind: FILL IN, fluid: FILL IN}
      transmission: {kind: FILL IN, fluid: FILL IN}
`
	if got[0].Register() != lines {
		t.Errorf("got\n%s\nwant\n%s", got[0].Register(), lines)
	}
	if reg, err := intake.Register("vehicles.yaml", []byte("vehicles:\n"+lines), day(1)); err != nil || len(reg) != 1 || reg[0].Vehicle != "bus-70" {
		t.Errorf("the register reads %+v (%v)", reg, err)
	}
}

// Whatever the name, the lines name that vehicle and no other, or the register says why not.
func TestStrangeNames(t *testing.T) {
	for _, name := range append([]string{"yes", "12", "a: b", "#x", "- x", "1e3", "null", "bus 7 "}, hostile.Text...) {
		v := stranger.Vehicle{Vehicle: name, Meters: []stranger.Meter{{Name: name}}, Components: []string{name}}
		reg, err := intake.Register("vehicles.yaml", []byte("vehicles:\n"+v.Register()), time.Time{})
		if err == nil && (len(reg) != 1 || reg[0].Vehicle != name) {
			t.Errorf("%q: the register reads %+v", name, reg)
		}
	}
}

func TestSort(t *testing.T) {
	at := func(d int) time.Time { return time.Date(2031, 1, d, 0, 0, 0, 0, time.UTC) }
	list := []stranger.Vehicle{{Vehicle: "b", Last: at(1)}, {Vehicle: "c", Last: at(2)}, {Vehicle: "a", Last: at(1)}}
	stranger.Sort(list)
	if got := list[0].Vehicle + list[1].Vehicle + list[2].Vehicle; got != "cab" {
		t.Error(got)
	}
}
