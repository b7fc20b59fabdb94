package table

import (
	"reflect"
	"strings"
	"testing"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// TestVehicleColumns: each key of the register that a cell can say has a column.
func TestVehicleColumns(t *testing.T) {
	cells := map[string]string{"in service": "2031-02-10", "zone": "Europe/London", "retired": "yes", "reads": "mi", "capacity": "4", "vin": "ZZ1LARKFE00000007"}
	mapping, heads, row := "import: vehicles\ndecimal mark: point\nvehicle: Key\nmeters: {odometer: distance}\n", "Key", "van-1"
	column := func(f intake.Field) {
		heads += "," + f.Key
		if cell := cells[f.Key]; cell != "" {
			row += "," + cell
		} else {
			row += ",a " + f.Key
		}
	}
	for _, f := range intake.Fields(event.VehicleEvent) {
		if f.Key == intake.Apart {
			continue
		}
		switch f.In(&event.VehicleData{}).(type) {
		case *string, *bool, *[]string:
			mapping += f.Key + ": " + f.Key + "\n"
			column(f)
		}
	}
	mapping += "tags: {fuel: name}\ncomponents:\n  engine:\n"
	parts := columnsOf(intake.ComponentFields())
	for _, f := range parts {
		if f.Units != nil {
			mapping += "    " + f.Key + ": {column: " + f.Key + ", unit: L}\n"
			column(f)
			continue
		}
		from := "name"
		if f.Key == "in service" {
			from = f.Key // the vehicle's date serves
		}
		mapping += "    " + f.Key + ": " + from + "\n"
	}
	m, err := ReadMapping("map.yaml", []byte(mapping))
	if err != nil {
		t.Fatal(err)
	}
	table, err := m.Read("f.csv", strings.NewReader(heads+"\n"+row+"\n"), nil)
	if err != nil || len(table.Events) != 1 {
		t.Fatalf("%v: %v", table, err)
	}
	d := table.Events[0].Data.(*event.VehicleData)
	for _, f := range intake.Fields(event.VehicleEvent) {
		if f.Key != intake.Apart && reflect.ValueOf(f.In(d)).Elem().IsZero() {
			t.Errorf("the column of %s sets nothing", f.Path)
		}
	}
	for _, f := range parts {
		if reflect.ValueOf(f.In(&d.Components[0])).Elem().IsZero() {
			t.Errorf("the column of the component's %s sets nothing", f.Path)
		}
	}
}
