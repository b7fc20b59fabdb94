package service

import (
	"errors"
	"reflect"
	"slices"
	"testing"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/testdata/quick"
)

// scoped is a service by which a scope names the one vehicle that a list is of.
func scoped() Config {
	cfg := quiet
	cfg.Narrow = func(scope string, registered func(string) *event.VehicleData, part *engine.TurnPart) error {
		if scope == "unreadable" {
			return errors.New("unreadable")
		}
		part.Items = slices.DeleteFunc(part.Items, func(i due.Item) bool { return i.Vehicle != scope || registered(i.Vehicle) == nil })
		part.Alarms = nil
		return nil
	}
	return cfg
}

// TestTurnIsOfWhatItsReaderHears asks for lists with a scope, without one, as an older program
// did, and with one that cannot be read. After a crash the same is said once.
func TestTurnIsOfWhatItsReaderHears(t *testing.T) {
	quick.Beside(t)
	srv := servertest.Embed(t, t.TempDir())
	l := open(t, srv)
	s := run(t, l, scoped())
	begin(t, l)
	days(t, l, 1, 14)
	for _, list := range [][2]string{{"one", "bus-11"}, {"all", ""}, {"bad", "unreadable"}} {
		if err := l.PublishTurn(t.Context(), start.AddDate(0, 0, 14), list[0], "2031-01-15", list[1]); err != nil {
			t.Fatal(err)
		}
	}
	caughtUp(t, s)
	var all []string
	for _, i := range dueList(t, s) {
		all = append(all, i.Vehicle+" "+i.Task)
	}
	slices.Sort(all)
	one := slices.DeleteFunc(slices.Clone(all), func(line string) bool { return line != "bus-11 oil" && line != "bus-11 engine oil" })
	if len(all) < 3 || len(one) != 1 {
		t.Fatalf("due: %q", all)
	}
	want := map[string][]string{"one": one, "all": all, "bad": all}
	if got := listsSaid(t, l, stream.Partitions); !reflect.DeepEqual(got, want) {
		t.Errorf("the lists are of %q, want %q", got, want)
	}
	kill(t, s)
	s = run(t, open(t, srv), scoped())
	caughtUp(t, s)
	if got := listsSaid(t, l, stream.Partitions); !reflect.DeepEqual(got, want) {
		t.Errorf("after a crash the lists are of %q, want %q", got, want)
	}
}

// listsSaid are the lines of each list that was said, of so many parts.
func listsSaid(t *testing.T, l *stream.Log, parts int) map[string][]string {
	t.Helper()
	out, n := map[string][]string{}, map[string]int{}
	err := l.EachOutput(t.Context(), 1, "telltale.alarm.*", func(_ wire.Message, o engine.Output) error {
		if o.Turn != nil {
			n[o.Turn.Digest]++
			for _, i := range o.Turn.Items {
				out[o.Turn.Digest] = append(out[o.Turn.Digest], i.Vehicle+" "+i.Task)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for reader := range out {
		if slices.Sort(out[reader]); n[reader] != parts {
			t.Errorf("the list of %s has %d parts", reader, n[reader])
		}
	}
	return out
}
