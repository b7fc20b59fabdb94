package engine_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/engine"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
)

// storedFleet is the records of three vehicles, as they are stored, of which the
// first has its inspection coming.
func storedFleet(t *testing.T) (p *engine.Partition, records map[string][]byte) {
	t.Helper()
	p = engine.NewPartition()
	p.Apply(bookEvent(load(t, orderRules)))
	p.Apply(intake.Tick(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)))
	for _, line := range []string{
		`2031-01-02 vehicle van-1 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`,
		`2031-01-03 service van-1 "engine oil" odometer 50000`,
		`2031-01-04 sample van-1 motor odometer 51000 age 1000km Fe 100 Cu 10`,
		`2031-01-02 vehicle van-2 van meter odometer since 2029-03-01 component motor engine fluid oil capacity 6L`,
		`2031-01-03 service van-2 "engine oil" odometer 20000`,
		`2031-01-04 reading van-3 odometer 100`,
	} {
		p.Apply(short(t, line, line))
	}
	records = map[string][]byte{}
	for _, v := range p.Vehicles() {
		b, err := p.Encode(v)
		if err != nil {
			t.Fatal(err)
		}
		records[v] = b
	}
	return p, records
}

func loadAll(t *testing.T, like *engine.Partition, records map[string][]byte) *engine.Partition {
	t.Helper()
	p := engine.NewPartition()
	p.Restore(like.Now(), like.Book())
	p.Resume(like.Resumed())
	for v, b := range records {
		if err := p.Load(v, b); err != nil {
			t.Fatal(err)
		}
	}
	return p
}

// TestUnpack has records read at once, one after the other or when they are asked for:
// all say the same, and so does the partition that never stored them.
func TestUnpack(t *testing.T) {
	whole, records := storedFleet(t)
	read, asked := loadAll(t, whole, records), loadAll(t, whole, records)
	for n := 0; read.Unpack(1); n++ {
		if n > len(records) {
			t.Fatal("there is no end of records")
		}
	}
	for n, ev := range []event.Event{
		short(t, "a", `2031-02-05 reading van-2 odometer 20100`),
		intake.Tick(time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC)),
		intake.Tick(time.Date(2031, 2, 1, 0, 0, 0, 0, time.UTC)), // back
		short(t, "b", `2031-05-05 sample van-1 motor odometer 53000 age 3000km Fe 300 Cu 10`),
		intake.Tick(time.Date(2032, 2, 1, 0, 0, 0, 0, time.UTC)),
		bookEvent(load(t, orderRules)),
	} {
		want := describe(whole.Apply(ev))
		if got := describe(read.Apply(ev)); got != want {
			t.Errorf("event %d of records that were read:\n%s\nwant\n%s", n, got, want)
		}
		if got := describe(asked.Apply(ev)); got != want {
			t.Errorf("event %d of records that were not:\n%s\nwant\n%s", n, got, want)
		}
	}
	for _, p := range []*engine.Partition{read, asked} {
		if got, want := p.Vehicles(), whole.Vehicles(); !slices.Equal(got, want) || p.Err() != nil {
			t.Errorf("the vehicles are %q (%v), want %q", got, p.Err(), want)
		}
		for _, v := range whole.Vehicles() {
			if got, want := p.Describe(v), whole.Describe(v); got != want {
				t.Errorf("%s has the record\n%s\nwant\n%s", v, got, want)
			}
		}
	}
}

// TestUnpackOnlyWhatIsAsked has one vehicle's event, and a tick that changes nothing,
// leave the other records as they were stored.
func TestUnpackOnlyWhatIsAsked(t *testing.T) {
	whole, records := storedFleet(t)
	for v := range records {
		if v != "van-2" {
			records[v] = []byte(strings.Replace(string(records[v]), `{"vehicle"`, `{"nonsense"`, 1))
		}
	}
	p := loadAll(t, whole, records)
	p.Apply(short(t, "a", `2031-01-05 reading van-2 odometer 20100`))
	p.Apply(intake.Tick(time.Date(2031, 1, 6, 0, 0, 0, 0, time.UTC)))
	if got := p.Due(due.Query{Vehicle: "van-2", Ahead: 3650}); len(got) == 0 || p.Err() != nil {
		t.Errorf("van-2 has %d tasks (%v)", len(got), p.Err())
	}
	if got := p.AlarmsOf("van-2"); p.Err() != nil {
		t.Errorf("van-2 has the alarms %v (%v)", got, p.Err())
	}
}

// TestDamagedRecord is told once it is asked for, or at once where it has no end.
func TestDamagedRecord(t *testing.T) {
	whole, records := storedFleet(t)
	cut := records["van-1"][:200]
	err := engine.NewPartition().Load("van-1", cut)
	if err == nil || !strings.HasPrefix(err.Error(), `reading the record of vehicle "van-1": `) {
		t.Errorf("a record that was cut gives %v", err)
	}
	records["van-1"] = []byte(strings.Replace(string(records["van-1"]), `"first":`, `"first":"x`, 1))
	records["van-2"] = records["van-3"]
	for v, want := range map[string]string{
		"van-1": `reading the record of vehicle "van-1": `,
		"van-2": `the record of vehicle "van-2" is that of "van-3"`,
	} {
		p := loadAll(t, whole, records)
		p.Apply(short(t, "a", `2031-01-05 reading `+v+` odometer 60000`))
		if err := p.Err(); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("an event of %s gives %v, want %s…", v, err, want)
		}
		p = loadAll(t, whole, map[string][]byte{v: records[v]})
		if more := p.Unpack(1); !more || p.Err() == nil || !strings.HasPrefix(p.Err().Error(), want) {
			t.Errorf("reading %s gives %v, want %s…", v, p.Err(), want)
		}
	}
}
