package people_test

import (
	"fmt"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/rules"
	"telltale/samples"
)

// sample is the sample fleet's book, people and vehicles.
func sample(t testing.TB) (*people.Directory, []people.Vehicle, *rules.Book) {
	t.Helper()
	read := func(name string) []byte {
		text, err := samples.FS.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return text
	}
	names, err := fs.Glob(samples.FS, "rules/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var files []rules.File
	for _, name := range names {
		files = append(files, rules.File{Name: name, Text: read(name)})
	}
	book, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	d, err := people.Parse("people.yaml", read("people.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	register, err := intake.Register("vehicles.yaml", read("vehicles.yaml"), stream.Unclocked)
	if err != nil {
		t.Fatal(err)
	}
	var all []people.Vehicle
	for _, ev := range register {
		all = append(all, notify.VehicleOf(ev.Vehicle, ev.Data.(*event.VehicleData)))
	}
	return d, all, book
}

// Who hears of a vehicle is who hears of something that the book can say of it, counted one
// vehicle after the other.
func TestReach(t *testing.T) {
	d, all, book := sample(t)
	text, err := samples.FS.ReadFile("people.yaml")
	if err != nil {
		t.Fatal(err)
	}
	// Three more: one who is named nowhere, one who keeps something out, one by a name.
	with := strings.Replace(string(text), "\ntell:\n", `
tell:
  not of bus 4: {who: [maud], where: vehicle.id == "bus-04", when: never}
`, 1)
	with = strings.Replace(with, "people:\n", "people:\n  kit: {mail: kit@larkfell.example}\n", 1)
	more, err := people.Parse("people.yaml", []byte(with))
	if err != nil {
		t.Fatal(err)
	}
	for i := range all {
		switch all[i].ID {
		case "bus-02", "bus-03":
			all[i].People = []string{"kit"}
		case "bus-04":
			all[i].People = []string{"maud", "kit", "nobody"}
		}
	}
	for name, d := range map[string]*people.Directory{"the sample's": d, "with more": more} {
		want := map[string]int{}
		for _, v := range all {
			heard := map[string]bool{}
			for _, stage := range slices.Concat(alarm.TaskStages[1:], alarm.RuleStages[1:]) {
				who, _ := people.WhoHears(d, v, book, stage)
				for _, h := range who {
					heard[h.Person.ID] = true
				}
			}
			for id := range heard {
				want[id]++
			}
		}
		if got := people.Reach(d, all, book); !reflect.DeepEqual(got, want) || got["ines"] != len(all) {
			t.Errorf("%s: got %v, want %v", name, got, want)
		}
	}
}

func TestWhoHears(t *testing.T) {
	d, all, book := sample(t)
	var bus7 people.Vehicle
	for _, v := range all {
		if v.ID == "bus-07" {
			bus7 = v
		}
	}
	show := func(stage alarm.Stage) string {
		var b strings.Builder
		heard, unheard := people.WhoHears(d, bus7, book, stage)
		for _, h := range heard {
			fmt.Fprintf(&b, "%s %q by %s: %d\n", h.Person.ID, h.Ways, h.Entry, len(h.Of))
		}
		fmt.Fprintf(&b, "unheard %q\n", unheard)
		return b.String()
	}
	got := show(alarm.Warning)
	for _, want := range []string{`ines ["mail"] by stop at once: `, `south ["mail"] by the workshops hear of warnings at once, south: `, `tobias ["mail"] by whoever keeps the vehicle: `, "unheard []"} {
		if !strings.Contains(got, want) {
			t.Errorf("of a warning on Bus 7:\n%s\nwant %s", got, want)
		}
	}
	if strings.Contains(got, "north") {
		t.Errorf("the north workshop hears of Bus 7, which is in the south:\n%s", got)
	}
	if got := show(alarm.Soon); !strings.Contains(got, "south [] by the south workshop's list: ") {
		t.Errorf("of work that is soon due:\n%s", got)
	}
}

func TestTells(t *testing.T) {
	d, _, _ := sample(t)
	for _, tell := range d.Tells() {
		if tell.Name != "stop at once" {
			continue
		}
		want := people.Tell{Name: "stop at once", Who: []string{"ines"}, Stages: []alarm.Stage{alarm.Warning}, When: "at once", Remind: 72 * time.Hour, StandIn: 168 * time.Hour, StandIns: []string{"abel"}}
		if !reflect.DeepEqual(tell, want) {
			t.Errorf("got %+v, want %+v", tell, want)
		}
	}
	if n := len(d.Tells()); n < 8 {
		t.Errorf("%d entries of tell", n)
	}
}

func BenchmarkReach(b *testing.B) {
	d, few, book := sample(b)
	var all []people.Vehicle
	for i := range 2_000 {
		v := few[i%len(few)]
		v.ID = fmt.Sprint(v.ID, i)
		all = append(all, v)
	}
	for b.Loop() {
		people.Reach(d, all, book)
	}
	b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/2000, "µs/vehicle")
}
