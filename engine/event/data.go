package event

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	_ "time/tzdata" // zones must not hang on the machine

	"telltale/rules"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// VehicleData registers a vehicle or changes its registration. The latest by
// observed time counts, whole.
type VehicleData struct {
	Name       string            `json:"name"`
	Kind       string            `json:"kind"`
	Tags       map[string]string `json:"tags,omitempty"`
	InService  string            `json:"inService,omitempty"` // YYYY-MM-DD
	Zone       string            `json:"zone,omitempty"`      // IANA name; UTC where empty
	Meters     []MeterDef        `json:"meters,omitempty"`
	Components []ComponentDef    `json:"components,omitempty"`
	People     []string          `json:"people,omitempty"`
	Retired    bool              `json:"retired,omitempty"`
	// Was are the names that the vehicle had before; its record goes on (see record.Record).
	Was []string `json:"was,omitempty"`
	// Key is its present name where the event comes under an earlier one. The fold sets it
	// as it hands a registration on.
	Key   string `json:"key,omitempty"`
	Plate string `json:"plate,omitempty"` // as it is written on the vehicle
	VIN   string `json:"vin,omitempty"`   // of 17 characters, ISO 3779
	// Reads are the units in which people read of the vehicle, such as its odometer shows:
	// "mi", "qt"; at most one of each kind. What it does not say, whoever reads says.
	Reads []string `json:"reads,omitempty"`
}

// MeterDef is one instrument of a vehicle; Kind is "distance" or "hours", Was are its
// earlier names.
type MeterDef struct {
	Name string   `json:"name"`
	Kind string   `json:"kind"`
	Was  []string `json:"was,omitempty"`
}

// ComponentDef is one thing that holds a fluid. Capacity is all the fluid in the
// circuit, converter, cooler and lines included. Meters names the instruments
// that count for it; all of the vehicle's where empty.
type ComponentDef struct {
	Name     string         `json:"name"`
	Kind     string         `json:"kind"`
	Fluid    string         `json:"fluid,omitempty"`
	Capacity *unit.Quantity `json:"capacity,omitempty"`
	// Torque is how tight what is named is drawn; Source is where it, and the capacity,
	// are from.
	Torque map[string]unit.Quantity `json:"torque,omitempty"`
	Source string                   `json:"source,omitempty"`
	Meters []string                 `json:"meters,omitempty"`
	Was    []string                 `json:"was,omitempty"` // earlier names
	// InService is when it was fitted, YYYY-MM-DD, where that is later than the vehicle
	// itself: what was done before was done to the one before it.
	InService string `json:"inService,omitempty"`
}

// ComponentNamed returns the registered component of that name, or nil.
func (v *VehicleData) ComponentNamed(name string) *ComponentDef {
	for i := range v.Components {
		if v.Components[i].Name == name {
			return &v.Components[i]
		}
	}
	return nil
}

// Names are all that people may call a vehicle of that key: the key, its name, its plate,
// its VIN and its earlier keys.
func (v *VehicleData) Names(key string) []string {
	if v == nil {
		return []string{key}
	}
	return append([]string{key, v.Name, v.Plate, v.VIN}, v.Was...)
}

// Label is the vehicle's name, with its plate where that says more.
func (v *VehicleData) Label() string { return Label(v.Name, v.Plate) }

// Label is a vehicle's name, with its plate where that says more.
func Label(name, plate string) string {
	if plate == "" || english.Folded(plate) == english.Folded(name) {
		return name
	}
	return name + " (" + plate + ")"
}

// MeterKind tells whether the registered meter counts hours; ok is false where
// the vehicle names its meters and this is none of them.
func (v *VehicleData) MeterKind(name string, by unit.Kind) (hours, ok bool) {
	for _, m := range v.Meters {
		if m.Name == name {
			return m.Kind == "hours", true
		}
	}
	return by == unit.Time, len(v.Meters) == 0
}

// Location is the vehicle's time zone; UTC where it has none. Names are checked when
// the event is read, so one that does not load here is taken as UTC.
func (v *VehicleData) Location() *time.Location {
	if v == nil || v.Zone == "" {
		return time.UTC
	}
	return loadZone(v.Zone)
}

// ReadingData is the face value of a meter, and perhaps fluid that was topped up when
// it was read.
type ReadingData struct {
	Meter string  `json:"meter"`
	Value float64 `json:"value"`
	Unit  string  `json:"unit"`
	// ToppedUp is a volume that took the place of what the component had consumed.
	ToppedUp  *unit.Quantity `json:"toppedUp,omitempty"`
	Component string         `json:"component,omitempty"` // that it went into
}

// ToppingUp is the reading as work: the fluid that was topped up and the meter's value;
// nil where it tells of none.
func (d *ReadingData) ToppingUp() *ServiceData {
	if !(Litres(d.ToppedUp) > 0) {
		return nil
	}
	return &ServiceData{Component: d.Component, ToppedUp: d.ToppedUp,
		Meters: map[string]unit.Quantity{d.Meter: {Value: d.Value, Unit: d.Unit}}}
}

// MeterReplacedData says what the old instrument showed last and the new one first.
type MeterReplacedData struct {
	Meter string        `json:"meter"`
	Last  unit.Quantity `json:"last"`
	First unit.Quantity `json:"first"`
}

// ServiceData is work that was done.
type ServiceData struct {
	Tasks     []string                 `json:"tasks,omitempty"`
	Component string                   `json:"component,omitempty"`
	Meters    map[string]unit.Quantity `json:"meters,omitempty"`
	Fluid     *FluidData               `json:"fluid,omitempty"`
	// ToppedUp is a volume that was filled in without a drain, in place of what was
	// consumed. Beside it a fluid that has no more than its name is what it was.
	ToppedUp *unit.Quantity `json:"toppedUp,omitempty"`
	Filter   bool           `json:"filter,omitempty"`
	// ValidUntil is the date on the paper that the work gave, YYYY-MM-DD: the tasks that it
	// lists and that go by time are due then.
	ValidUntil string `json:"validUntil,omitempty"`
	// Defect is what was seen to be wrong with the vehicle, or with the component, and not
	// repaired.
	Defect string `json:"defect,omitempty"`
	By     string `json:"by,omitempty"`
	Note   string `json:"note,omitempty"`
}

// What is the work in a few words: its tasks, the fluid that was exchanged, the filter;
// "" where it says none of these.
func (d *ServiceData) What() string {
	var parts []string
	if len(d.Tasks) > 0 {
		parts = append(parts, strings.Join(d.Tasks, ", "))
	}
	if f := d.Exchanged(); f != nil {
		switch {
		case f.Flush:
			parts = append(parts, cmp.Or(f.Name, "fluid")+" flushed")
		case f.Drained == nil && f.Filled == nil:
			parts = append(parts, cmp.Or(f.Name, "fluid")+" exchanged")
		}
		if f.Drained != nil {
			parts = append(parts, strings.TrimSpace(f.Drained.String()+" "+f.Name)+" drained")
		}
		if f.Filled != nil {
			parts = append(parts, strings.TrimSpace(f.Filled.String()+" "+f.Name)+" filled")
		}
	}
	if d.ToppedUp != nil {
		name := ""
		if d.Fluid != nil {
			name = d.Fluid.Name
		}
		parts = append(parts, strings.TrimSpace(d.ToppedUp.String()+" "+name)+" topped up")
	}
	if d.Filter {
		parts = append(parts, "new filter")
	}
	if d.ValidUntil != "" {
		parts = append(parts, "valid until "+d.ValidUntil)
	}
	if d.Defect != "" {
		parts = append(parts, "reported: "+english.OneLine(d.Defect))
	}
	return strings.Join(parts, ", ")
}

// Exchanged is the fluid that the work exchanged; nil where it exchanged none, or topped
// up and no more.
func (d *ServiceData) Exchanged() *FluidData {
	if f := d.Fluid; d.ToppedUp != nil && f != nil && f.Drained == nil && f.Filled == nil && !f.Flush {
		return nil
	}
	return d.Fluid
}

// OnlyTopsUp reports whether the work lists no task and exchanged nothing.
func (d *ServiceData) OnlyTopsUp() bool {
	return d.ToppedUp != nil && len(d.Tasks) == 0 && d.Exchanged() == nil
}

// FluidData is how much fluid was exchanged. Flush is true where all of the circuit
// was renewed by a machine, and not what runs out of a drain.
type FluidData struct {
	Name    string         `json:"name,omitempty"`
	Drained *unit.Quantity `json:"drained,omitempty"`
	Filled  *unit.Quantity `json:"filled,omitempty"`
	Flush   bool           `json:"flush,omitempty"`
}

// SampleData is a fluid sample and its laboratory's results or, without a component, what
// a workshop measured by hand on the vehicle.
type SampleData struct {
	Number   string `json:"number"`
	Revision int    `json:"revision,omitempty"`
	// Repeat tells another analysis of the same sample (1, 2, …) from the first, of
	// which it is no correction: the results are read together.
	Repeat    int    `json:"repeat,omitempty"`
	Component string `json:"component"`
	// Drawn is YYYY-MM-DD (in the vehicle's zone) or an RFC 3339 time; the
	// event's time where empty.
	Drawn string `json:"drawn,omitempty"`
	// Taken is "before" (the default) or "after" the services of that local date.
	Taken      string                   `json:"taken,omitempty"`
	Meters     map[string]unit.Quantity `json:"meters,omitempty"`
	FluidAge   *unit.Quantity           `json:"fluidAge,omitempty"`   // a distance or hours
	AverageAge *unit.Quantity           `json:"averageAge,omitempty"` // of the fluid that the results' averages are of
	Density    *unit.Quantity           `json:"density,omitempty"`    // the fluid's, for results in mg/L
	Laboratory string                   `json:"laboratory,omitempty"`
	Method     string                   `json:"method,omitempty"`
	Point      string                   `json:"point,omitempty"`
	Results    []ResultData             `json:"results"`
}

// ByHand reports whether it is what a workshop measured by hand on the vehicle, and no
// sample of a component's fluid.
func (d *SampleData) ByHand() bool { return d.Component == "" }

// What is the sample in a few words: its number, component and revision, or what was
// measured.
func (d *SampleData) What() string {
	if d.ByHand() {
		parts := make([]string, len(d.Results))
		for i := range d.Results {
			parts[i] = d.Results[i].Analyte + " " + d.Results[i].String()
		}
		return "measured: " + strings.Join(parts, ", ")
	}
	s := "sample of the " + d.Component
	if d.Number != "" {
		s = "sample " + d.Number + " of the " + d.Component
	}
	if d.Revision > 0 {
		s += ", revision " + strconv.Itoa(d.Revision)
	}
	return s
}

// ResultData is one analyte as the laboratory reported it: a value, "below L",
// "above U", not detected or a trace. Exactly one of these is set; the last two
// may say beside it below which limit.
type ResultData struct {
	Analyte     string   `json:"analyte"`
	Value       *float64 `json:"value,omitempty"`
	Below       *float64 `json:"below,omitempty"`
	Above       *float64 `json:"above,omitempty"`
	NotDetected bool     `json:"notDetected,omitempty"`
	Trace       bool     `json:"trace,omitempty"`
	Unit        string   `json:"unit"`
	// Average is what the laboratory prints beside the result as usual, in Unit.
	Average *float64 `json:"average,omitempty"`
	// Decimals is how many the laboratory printed, where the number alone would lose
	// some: 4.0 is not 4.
	Decimals int `json:"decimals,omitempty"`
}

// Written writes a number for people, with the decimals that the laboratory printed.
func (d *ResultData) Written(v float64) string {
	u := english.Unit(d.Unit)
	s := unit.Quantity{Value: v, Unit: u}.String()
	if _, decimals, _ := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), "."); len(decimals) < d.Decimals {
		s = strings.TrimSpace(strconv.FormatFloat(v, 'f', d.Decimals, 64) + " " + u)
	}
	return s
}

// String is the result as the laboratory reported it: "131 mg/kg", "below 1 mg/kg".
func (d *ResultData) String() string {
	s := ""
	switch {
	case d.NotDetected:
		s = "not detected"
	case d.Trace:
		s = "trace"
	}
	switch {
	case d.Below != nil && s != "":
		return s + " (below " + d.Written(*d.Below) + ")"
	case d.Below != nil:
		return "below " + d.Written(*d.Below)
	case d.Above != nil:
		return "above " + d.Written(*d.Above)
	case d.Value != nil:
		return d.Written(*d.Value)
	}
	return s
}

// AnswerData is what a person said to an alarm, a task or the whole vehicle.
type AnswerData struct {
	// Answer is acknowledge, shelve, unshelve, out of service, in service, not mine
	// (By says that the vehicle is not theirs), postpone or accept (the point that a
	// sample's forecast offers for a task, or with the rule "data: meter going back" that
	// the lower readings are right and the meter goes on from there).
	Answer     string         `json:"answer"`
	Rule       string         `json:"rule,omitempty"`
	Component  string         `json:"component,omitempty"`
	Task       string         `json:"task,omitempty"`
	Until      string         `json:"until,omitempty"` // shelve: RFC 3339; postpone: YYYY-MM-DD
	ByDistance *unit.Quantity `json:"byDistance,omitempty"`
	By         string         `json:"by,omitempty"`
	Why        string         `json:"why,omitempty"`
}

// answered says what each answer does, in words.
var answered = map[string]string{
	"acknowledge": "acknowledged", "shelve": "put aside", "unshelve": "brought back", "postpone": "postponed",
	"accept": "accepted", "in service": "back in service", "not mine": "not their vehicle",
}

// Done is the answer in a word or two, as what was done: "put aside".
func (d *AnswerData) Done() string { return cmp.Or(answered[d.Answer], d.Answer) }

// VoidData names the event that is taken out.
type VoidData ID

// BookData puts a rule book in force. Book is the compiled text, filled in by
// whoever reads the log from the body stored under Hash.
type BookData struct {
	Hash string      `json:"hash"`
	Book *rules.Book `json:"-"`
}

// TurnData is a digest's turn: each partition answers it with its part of the due list.
type TurnData struct {
	Digest string `json:"digest"`
	Date   string `json:"date"` // local date of the reader, the turn's key
}

// Litres is a volume in litres; NaN where it is none.
func Litres(q *unit.Quantity) float64 {
	if q == nil {
		return math.NaN()
	}
	v, err := q.As(unit.Volume)
	if err != nil {
		return math.NaN()
	}
	return v
}

var zones sync.Map // name -> *time.Location

// loadZone returns the named zone, UTC where there is none of that name.
func loadZone(name string) *time.Location {
	if z, ok := zones.Load(name); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		z = time.UTC
	}
	zones.Store(name, z)
	return z
}

// Figures are what the register says of a component to whoever works on it: how much
// fluid it holds and how tight what is drawn, each by the register's own source. A
// register that names no source gives none.
type Figures struct {
	Capacity *unit.Quantity           `json:"capacity,omitempty"`
	Torque   map[string]unit.Quantity `json:"torque,omitempty"`
	Source   string                   `json:"source"`
}

// confirmFigures stands behind every such figure.
const confirmFigures = "confirm against the maker's manual"

// Figures are those of the component; nil where there are none.
func (c *ComponentDef) Figures() *Figures {
	if c == nil || c.Source == "" || c.Capacity == nil && len(c.Torque) == 0 {
		return nil
	}
	return &Figures{Capacity: c.Capacity, Torque: c.Torque, Source: c.Source}
}

// TorqueText is "drain plug 35 newton-metres (26 pound-force feet, 310 pound-force
// inches)", by name; "" where there is none.
func (f *Figures) TorqueText() string {
	var all []string
	for _, name := range slices.Sorted(maps.Keys(f.Torque)) {
		all = append(all, name+" "+unit.TorqueWords(f.Torque[name]))
	}
	return strings.Join(all, ", ")
}

// Text is the figures in a line, with their source and what to do with them. capacity
// writes a volume in litres as its reader has it.
func (f *Figures) Text(capacity func(litres float64) string) string {
	var all []string
	if f.Capacity != nil {
		if litres, err := f.Capacity.As(unit.Volume); err == nil {
			all = append(all, "holds "+capacity(litres))
		}
	}
	if t := f.TorqueText(); t != "" {
		all = append(all, "torque: "+t)
	}
	return strings.Join(append(all, confirmFigures, "source: "+f.Source), "; ")
}
