package whatif_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/whatif"
	"telltale/rules/unit"
)

// stored is a log of one partition in which a book is in force.
type stored struct {
	p *engine.Partition
}

func (s stored) BookInForce(context.Context) (string, error) { return s.p.Book().Hash, nil }

func (s stored) LastRegistration(_ context.Context, vehicle string) (*event.VehicleData, error) {
	return s.p.Registered(vehicle), nil
}

func (s stored) Copies(_ context.Context, do func(*engine.Partition) error) error { return do(s.p) }

// A book that pulls the oil forward is told with how many vehicles it changes, the
// register with what it says anew; a book that is in force changes nothing.
func TestAdopt(t *testing.T) {
	const oil = "book: 1\ntasks:\n  oil: {title: Change the oil, every: {distance: "
	was, is := book(t, oil+"2000 km}, unknown history: from first reading}\n"), book(t, oil+"1000 km}, unknown history: from first reading}\n")
	p := replay.File{}.Partition(was)
	register := func(text string) []event.Event {
		events, err := intake.Register("vehicles.yaml", []byte(text), time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		return events
	}
	const van = "  van-01: {kind: van, meters: {odometer: distance}}\n"
	for _, ev := range register("vehicles:\n  bus-07: {kind: minibus, meters: {odometer: distance}}\n" + van) {
		p.Apply(ev)
	}
	for i, line := range []string{"2031-01-03 reading bus-07 odometer 0 km", "2031-01-04 reading van-01 odometer 0 km",
		"2031-02-03 reading bus-07 odometer 1500 km", "2031-02-04 reading van-01 odometer 1700 km", "2031-02-05 tick"} {
		ev, err := intake.Short(line, string(rune('a'+i)), unit.System{Distance: "km", Volume: "L"})
		if err != nil {
			t.Fatal(err)
		}
		p.Apply(ev)
	}
	folder := register("vehicles:\n  bus-07: {kind: coach, meters: {odometer: distance}}\n" + van)
	a, err := whatif.Adopt(t.Context(), stored{p}, is, folder, p.Now())
	if err != nil || !slices.Equal(a.Changes, []whatif.Change{{Rule: "oil", To: "overdue", Vehicles: 2}}) {
		t.Errorf("%v: %+v", err, a)
	}
	if len(a.Register) != 1 || a.Register[0].Vehicle != "bus-07" {
		t.Errorf("registers %+v, want the bus that became a coach", a.Register)
	}
	if a, err := whatif.Adopt(t.Context(), stored{p}, p.Book(), nil, p.Now()); err != nil || a.Changes != nil {
		t.Errorf("%v: %+v", err, a)
	}
	// A folder of which no service has run: what its vehicles begin with.
	due := book(t, oil+"1000 km}, unknown history: due}\n")
	a, err = whatif.Adopt(t.Context(), whatif.Nothing{}, due, folder, p.Now())
	if err != nil || !slices.Equal(a.Changes, []whatif.Change{{Rule: "oil", To: "due", Vehicles: 2}}) || len(a.Register) != 2 {
		t.Errorf("%v: %+v", err, a)
	}
	// The book is in force, and the register has one vehicle more.
	more := register("vehicles:\n  van-02: {kind: van, meters: {odometer: distance}}\n")
	q := replay.File{}.Partition(due)
	a, err = whatif.Adopt(t.Context(), stored{q}, due, more, p.Now())
	if err != nil || !slices.Equal(a.Changes, []whatif.Change{{Rule: "oil", To: "due", Vehicles: 1}}) {
		t.Errorf("%v: %+v", err, a)
	}
}

// A vehicle that was renamed is not registered again, one that is renamed now is, and an
// entry under a name that was another's is told and not registered.
func TestAdoptRenamed(t *testing.T) {
	b := book(t, "book: 1\n")
	register := func(text string, day int) []event.Event {
		events, err := intake.Register("vehicles.yaml", []byte("vehicles:\n"+text), time.Date(2031, 1, day, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		return events
	}
	renamed := func() *engine.Partition {
		p := replay.File{}.Partition(b)
		for day, text := range []string{"  van-1: {kind: van}\n  van-5: {kind: van}\n", "  van-2: {kind: van, was: van-1}\n"} {
			for _, ev := range register(text, day+1) {
				p.Apply(ev)
			}
		}
		return p
	}
	for _, c := range []struct {
		vehicles string
		want     []string // registered
		taken    []string
	}{
		{"  van-2: {kind: van, was: van-1}\n  van-5: {kind: van}\n", nil, nil},
		{"  van-2: {kind: van}\n  van-5: {kind: van}\n", []string{"van-2"}, nil}, // it has had another name for good
		{"  van-3: {kind: van, was: van-2}\n  van-6: {kind: van, was: van-5}\n", []string{"van-3", "van-6"}, nil},
		{"  van-1: {kind: van, was: van-2}\n", []string{"van-1"}, nil}, // its first name again
		{"  van-1: {kind: car}\n  van-2: {kind: van}\n", []string{"van-2"},
			[]string{"van-1 is an earlier name of vehicle van-2: write `was: van-2` to give it back, or choose a name that no vehicle has had"}},
	} {
		a, err := whatif.Adopt(t.Context(), stored{renamed()}, b, register(c.vehicles, 9), time.Date(2031, 1, 9, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, ev := range a.Register {
			got = append(got, ev.Vehicle)
		}
		if !slices.Equal(got, c.want) || !slices.Equal(a.Taken, c.taken) {
			t.Errorf("%s: registers %q, taken %q; want %q, %q", c.vehicles, got, a.Taken, c.want, c.taken)
		}
		var have []string
		for _, v := range a.Registered {
			have = append(have, v.Vehicle+" "+v.First)
		}
		if want := []string{"van-2 van-1", "van-5 "}; !slices.Equal(have, want) {
			t.Errorf("registered are %q, want %q", have, want)
		}
	}
}

// A rename is judged on the vehicle's record, in whichever order the earlier names stand
// and though nobody has heard of one of them.
func TestAdoptRenamedJudged(t *testing.T) {
	b := book(t, "book: 1\ntasks:\n  oil: {every: {distance: 1000 km}, unknown history: due}\n")
	register := func(text string) []event.Event {
		events, err := intake.Register("vehicles.yaml", []byte("vehicles:\n"+text), time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC))
		if err != nil {
			t.Fatal(err)
		}
		return events
	}
	for _, was := range []string{"van-1", "[van-1, x]", "[x, van-1]"} {
		p := replay.File{}.Partition(b)
		for _, ev := range register("  van-1: {kind: van, meters: {odometer: distance}}\n") {
			p.Apply(ev) // due from now on, and so after the rename
		}
		p.Apply(intake.Tick(time.Date(2031, 1, 2, 0, 0, 0, 0, time.UTC)))
		a, err := whatif.Adopt(t.Context(), stored{p}, b, register("  van-2: {kind: van, was: "+was+", meters: {odometer: distance}}\n"), p.Now())
		if err != nil || len(a.Register) != 1 || a.Changes != nil {
			t.Errorf("was %s: %v, %d registered, %+v", was, err, len(a.Register), a.Changes)
		}
	}
}
