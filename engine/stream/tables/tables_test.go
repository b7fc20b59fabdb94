package tables_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/engine/intake/table"
	"telltale/engine/stream/service"
	"telltale/engine/stream/service/servicetest"
	"telltale/engine/stream/tables"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

var start = time.Date(2031, 1, 1, 8, 0, 0, 0, time.UTC)

const oil = "book: 1\ntasks:\n  oil change: {every: {distance: 1000 km}, early: {distance: 100 km}, unknown history: from first reading}\n"

const mileage = "import: readings\nsource: /sheet/mileage\nzone: UTC\nvehicle: Bus\ndate: Day\nmeters: {odometer: {column: Km, unit: km}}\n"

// fleet is a service with two buses, asked in this process and over the connection.
func fleet(t *testing.T) (here, there service.At) {
	t.Helper()
	s, l := servicetest.Start(t, oil, start)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	register, err := intake.Register("vehicles.yaml", []byte("vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n  bus-08: {kind: minibus, meters: {odometer: distance}}\n"), start)
	if err != nil {
		t.Fatal(err)
	}
	for _, ev := range register {
		if err := l.Publish(t.Context(), ev); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.CaughtUp(t.Context()); err != nil {
		t.Fatal(err)
	}
	return service.At{Conn: l.Conn, Service: s}, service.At{Conn: l.Conn}
}

func read(t *testing.T, at service.At, rows string) (*tables.Dry, error) {
	t.Helper()
	m, err := table.ReadMapping("mileage.yaml", []byte(mileage))
	if err != nil {
		t.Fatal(err)
	}
	return tables.Read(t.Context(), at, []string{}, m, tables.File{Name: "mileage.csv", In: strings.NewReader("Bus,Day,Km\n" + rows), Most: 9})
}

// A file is asked after alike in the process and over the connection; what it would bring
// is what it brings, and sent again it brings nothing.
func TestRead(t *testing.T) {
	here, there := fleet(t)
	rows := "Bus 7,2031-01-02,1000\nBus 7,2031-01-09,1950\nbus-08,2031-01-02,500\n"
	d, err := read(t, here, rows)
	if err != nil {
		t.Fatal(err)
	}
	again, err := read(t, there, rows)
	if err != nil || !reflect.DeepEqual(d.Events, again.Events) || !reflect.DeepEqual(d.Follows(), again.Follows()) {
		t.Errorf("in the process %+v, over the connection %+v (%v)", d, again, err)
	}
	want := []tables.Follow{{Rule: "oil change", Change: "now soon", To: alarm.Soon, Times: 1, Vehicles: []string{"bus-07"}}}
	if got := d.Follows(); !reflect.DeepEqual(got, want) || got[0].String() != "oil change: now soon on bus-07" {
		t.Errorf("follows %+v, want %+v", got, want)
	}
	if len(d.Fresh()) != 3 || d.Before() != 0 {
		t.Errorf("%d new, %d known; nothing was sent", len(d.Fresh()), d.Before())
	}
	refused, err := d.Send(t.Context(), here)
	if err != nil || refused != nil {
		t.Fatalf("refused %+v (%v)", refused, err)
	}
	if list, err := service.Alarms.Of(t.Context(), here.Service, service.Question{}); err != nil || len(list) != 1 || list[0].To != alarm.Soon {
		t.Errorf("there stands %+v (%v)", list, err)
	}
	d, err = read(t, here, rows+"bus-08,2031-01-09,700\n")
	if err != nil || len(d.Fresh()) != 1 || d.Before() != 3 {
		t.Errorf("a longer version brings %+v (%v), want one row", d.Fresh(), err)
	}
}

// What a row says otherwise than what is known is a fault of it, and so is what is no
// vehicle; the table is there as far as it was read.
func TestReadFaults(t *testing.T) {
	here, _ := fleet(t)
	d, err := read(t, here, "bus-08,2031-01-02,500\n")
	if err == nil {
		_, err = d.Send(t.Context(), here)
	}
	if err != nil {
		t.Fatal(err)
	}
	for rows, want := range map[string]table.Fault{
		strings.Repeat("bus-08,2031-01-02,500\n", 10): {File: "mileage.csv", Text: "it has 10 rows, more than 9", Hint: "split it into several files"},
		"bus-08,2031-01-02,600\n": {File: "mileage.csv", Row: 2, Text: `an entry "bus-08/2031-01-02T00:00:00Z/odometer" of /sheet/mileage exists already and says something else`,
			Hint: `take the first out, then import again: telltale undo bus-08 bus-08/2031-01-02T00:00:00Z/odometer`},
		"bus-09,2031-01-02,600\n": {File: "mileage.csv", Row: 2, Col: 1, Text: `"bus-09" is not a vehicle of the register (column "Bus")`,
			Hint: `in mileage.yaml: vehicle: {column: "Bus", names: {"bus-09": bus-07}}; or register it, or leave its rows out`},
	} {
		_, err := read(t, here, rows)
		faults, _ := errors.AsType[table.Faults](err)
		if len(faults) != 1 || faults[0] != want {
			t.Errorf("%s: %+v, want %+v", rows, err, want)
		}
	}
}
