package intake

import (
	"reflect"
	"strings"

	"telltale/engine/event"
	"telltale/rules/unit"
)

// Field is one thing that the data of an event say, and its name in each way by which
// people say it.
type Field struct {
	// Path is where it stands in the data, as JSON names it: component, fluid.drained.
	// What it is (a text, a number, yes or no) is what it is there.
	Path  string
	Units []unit.Kind // what it may measure; nil where it is no quantity
	Short string      // its word in the short form
	Key   string      // its key in a file: the mapping of a table, or the register
	// Option is its option of a typed job, Input its input on the page behind a link.
	Option, Input string
	Asked         string // what is missing where the short form ends before it
	Help          string // what the option is for
}

// Apart is the name of a field in a way that has other means for it, or none.
const Apart = "-"

var (
	running = []unit.Kind{unit.Distance, unit.Time}
	volume  = []unit.Kind{unit.Volume}

	vehicleFields = []Field{
		{Path: "name", Short: Apart, Key: "name"}, {Path: "kind", Short: Apart, Key: "kind"}, {Path: "tags", Short: Apart, Key: "tags"},
		{Path: "inService", Short: "since", Key: "in service", Asked: "the date it went into service"},
		{Path: "zone", Short: "zone", Key: "zone", Asked: "the time zone"},
		{Path: "meters", Short: Apart, Key: "meters"}, {Path: "components", Short: Apart, Key: "components"}, {Path: "people", Short: Apart, Key: "people"},
		{Path: "retired", Short: "retired", Key: "retired"},
		{Path: "was", Short: "was", Key: "was", Asked: "the earlier name"}, {Path: "key", Short: Apart, Key: Apart},
		{Path: "plate", Short: "plate", Key: "plate", Asked: "the plate"}, {Path: "vin", Short: "vin", Key: "vin", Asked: "the VIN"},
		{Path: "reads", Short: "reads", Key: "reads", Asked: "a unit in which people read of it"},
	}
	componentFields = []Field{
		{Path: "name", Short: Apart, Key: Apart}, {Path: "kind", Short: Apart, Key: "kind"},
		{Path: "fluid", Short: "fluid", Key: "fluid", Asked: "the fluid"},
		{Path: "capacity", Units: volume, Short: "capacity", Key: "capacity", Asked: "the capacity"},
		{Path: "meters", Short: Apart, Key: "meters"}, {Path: "torque", Units: []unit.Kind{unit.Torque}, Short: Apart, Key: "torque"}, {Path: "source", Short: Apart, Key: "source"},
		{Path: "was", Short: Apart, Key: "was"},
		{Path: "inService", Short: "fitted", Key: "in service", Asked: "the date it was fitted"},
	}
	meterFields    = []Field{{Path: "name", Short: Apart, Key: Apart}, {Path: "kind", Short: Apart, Key: "kind"}, {Path: "was", Short: Apart, Key: "was"}}
	replacedFields = []Field{{Path: "meter", Short: Apart}, {Path: "last", Units: running, Short: Apart}, {Path: "first", Units: running, Short: Apart}}
	readingFields  = []Field{{Path: "meter", Short: Apart, Key: "meters"}, {Path: "value", Short: Apart, Key: Apart}, {Path: "unit", Short: Apart, Key: Apart},
		{Path: "toppedUp", Units: volume, Short: "topped", Key: "topped up", Asked: "how much was topped up"},
		{Path: "component", Short: "on", Key: "component", Asked: "the component that was topped up"}}
	sampleFields = []Field{
		{Path: "component", Short: Apart, Key: "component"},
		{Path: "number", Short: "number", Key: "number", Asked: "the laboratory's number"},
		{Path: "revision", Short: "revision", Key: "revision", Asked: "the revision"},
		{Path: "repeat", Short: "repeat", Key: "repeat", Asked: "which analysis of the sample it is"},
		{Path: "drawn", Short: Apart, Key: Apart}, // the event's time
		{Path: "taken", Short: "taken", Key: "taken", Asked: "before or after"},
		{Path: "fluidAge", Units: running, Short: "age", Key: "age", Asked: "the fluid's age"},
		{Path: "averageAge", Units: running, Short: "at", Key: "average age", Asked: "the age of the fluid that the averages are of"},
		{Path: "meters", Units: running, Short: Apart, Key: "meters"},
		{Path: "laboratory", Short: Apart, Key: "laboratory"}, {Path: "method", Short: Apart, Key: "method"}, {Path: "point", Short: Apart, Key: "point"},
		{Path: "density", Units: []unit.Kind{unit.Density}, Short: Apart, Key: "density"},
		{Path: "results", Short: Apart, Key: "results"},
	}
	// The link says of what and by whom; the page asks for no filter and no name of a fluid.
	serviceFields = []Field{
		{"tasks", nil, Apart, "tasks", Apart, "task", "", ""},
		{"component", nil, "on", "component", "component", Apart, "the component", "what it was done on (default: the component that the task belongs to)"},
		{"meters", running, Apart, "meters", Apart, Apart, "", ""},
		{"fluid.name", nil, "fluid", "fluid", "fluid", Apart, "the fluid", "name of the fluid filled in (default: the register's)"},
		{"fluid.drained", volume, "drained", "drained", "drained", "volume", "how much was drained", "fluid drained, as 4L or 4.2qt"},
		{"fluid.filled", volume, "filled", "filled", "filled", "volume", "how much was filled", "fluid filled in"},
		{"fluid.flush", nil, "flush", "flush", "flush", "flush", "", "a machine renewed all of the fluid, not a drain"},
		{"toppedUp", volume, "topped", "topped up", "topped-up", Apart, "how much was topped up", "fluid topped up without a drain, to replace what was used up"},
		{"filter", nil, "filter", "filter", "filter", Apart, "", "the filter was renewed"},
		{"validUntil", nil, "valid", "valid until", "valid-until", Apart, "the date until which it is valid", "the date on the paper, such as 2032-03-14: the task is due then"},
		{"defect", nil, "defect", "defect", "defect", Apart, "what is wrong", "what was seen to be wrong and not repaired, such as \"wipers smear\""},
		{"by", nil, "by", "by", "by", Apart, "who did it", "who did it"},
		{"note", nil, "note", "note", "note", "why", "the note", "what else was seen"},
	}
	answerFields = []Field{
		{Path: "answer", Short: Apart}, {Path: "rule", Short: Apart}, {Path: "task", Short: Apart},
		{Path: "component", Short: "on", Asked: "the component"},
		{Path: "until", Short: "until", Asked: "until when"},
		{Path: "byDistance", Units: []unit.Kind{unit.Distance}, Short: "distance", Asked: "by how far"},
		{Path: "by", Short: "by", Asked: "who"},
		{Path: "why", Short: "why", Asked: "the reason"},
	}
	voidFields = []Field{{Path: "source", Short: Apart}, {Path: "id", Short: Apart}}
)

// Fields are all fields of the data of a kind of event that comes from outside.
func Fields(k event.Kind) []Field { return forms[k].fields }

// ComponentFields are the fields of a component in a registration.
func ComponentFields() []Field { return componentFields }

// Keys are the keys in a file of those fields that have one.
func Keys(fields []Field) (out []string) {
	for _, f := range fields {
		if f.Key != Apart {
			out = append(out, f.Key)
		}
	}
	return out
}

// In is a pointer to the field in an event's data, as *string or **unit.Quantity. The
// objects on the way to it are made where they are missing.
func (f Field) In(data any) any {
	v := reflect.ValueOf(data)
	for name := range strings.SplitSeq(f.Path, ".") {
		for ; v.Kind() == reflect.Pointer; v = v.Elem() {
			if v.IsNil() {
				v.Set(reflect.New(v.Type().Elem()))
			}
		}
		t := v.Type()
		for i := range t.NumField() {
			if tag, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); tag == name {
				v = v.Field(i)
				break
			}
		}
	}
	return v.Addr().Interface()
}
