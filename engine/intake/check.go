package intake

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/rules/unit"
)

// What an event may hold at most; of what a meter shows, see meter.MostDistance.
const (
	maxName    = 128 // bytes of a name: vehicle, meter, component, task, rule, analyte
	maxTasks   = 64
	maxTags    = 64
	maxPeople  = 64
	maxMeters  = 32 // of a vehicle, and meter values in one event
	maxParts   = 32 // components
	maxWas     = 16 // earlier names of one thing
	maxResults = 200

	maxVolume  = 100_000.0 // L
	maxTorque  = 100_000.0 // N m
	maxTorques = 32
)

// checkName asks for a name that can be shown and compared.
func checkName(at, s string) error {
	switch {
	case s == "":
		return refuse(at, "missing")
	case len(s) > maxName:
		return within(at, atMost(s, maxName))
	case strings.TrimSpace(s) != s:
		return refuse(at, "%s begins or ends with a space", quote(s))
	}
	return nil
}

// checkOptional is checkName for a name that may be left out.
func checkOptional(at, s string) error {
	if s == "" {
		return nil
	}
	return checkName(at, s)
}

// checkNames asks for a list of at most n names of which none appears twice.
func checkNames(at string, names []string, n int) error {
	return checkList(at, names, n, "", func(s string) string { return s }, checkName)
}

// checkList checks the entries of a list of at most n, of which none has the name of
// another; the name stands where named says in the entry.
func checkList[T any](at string, list []T, n int, named string, name func(T) string, check func(at string, e T) error) error {
	if err := checkCount(at, len(list), n); err != nil {
		return err
	}
	for i, e := range list {
		at := fmt.Sprintf("%s[%d]", at, i)
		if err := check(at, e); err != nil {
			return err
		}
		if slices.ContainsFunc(list[:i], func(o T) bool { return name(o) == name(e) }) {
			return refuse(at+named, "%s appears twice", quote(name(e)))
		}
	}
	return nil
}

// checkMap checks the entries of a map of at most n, in order of name.
func checkMap[T any](at string, m map[string]T, n int, check func(at string, e T) error) error {
	if err := checkCount(at, len(m), n); err != nil {
		return err
	}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		at := at + "[" + quote(name) + "]"
		if err := first(checkName(at, name), check(at, m[name])); err != nil {
			return err
		}
	}
	return nil
}

func checkCount(at string, have, most int) error {
	if have > most {
		return refuse(at, "%d entries; the limit is %d", have, most)
	}
	return nil
}

// first returns the first fault of those given.
func first(faults ...error) error {
	for _, err := range faults {
		if err != nil {
			return err
		}
	}
	return nil
}

func checkReading(d *event.ReadingData) error {
	return first(
		checkName("data.meter", d.Meter),
		checkQuantity("data", "a reading", unit.Quantity{Value: d.Value, Unit: d.Unit}, unit.Distance, unit.Time),
		checkVolume("data.toppedUp", d.ToppedUp),
		checkOptional("data.component", d.Component),
		checkTopUpComponent(d),
	)
}

// checkTopUpComponent wants a component of a reading only beside what went into it.
func checkTopUpComponent(d *event.ReadingData) error {
	if d.Component != "" && d.ToppedUp == nil {
		return refuse("data.component", "a reading has a component only together with toppedUp")
	}
	return nil
}

func checkMeterReplaced(_ event.Event, d *event.MeterReplacedData) error {
	err := first(
		checkName("data.meter", d.Meter),
		checkGiven("data.last", d.Last),
		checkGiven("data.first", d.First),
		checkQuantity("data.last", "a meter", d.Last, unit.Distance, unit.Time),
		checkQuantity("data.first", "a meter", d.First, unit.Distance, unit.Time),
	)
	if err != nil {
		return err
	}
	a, _ := unit.Of(d.Last.Unit)
	if b, _ := unit.Of(d.First.Unit); a != b {
		return refuse("data.first.unit", "%q measures %s, the old meter's %q %s", d.First.Unit, b, d.Last.Unit, a)
	}
	return nil
}

// checkValues checks the meter values of a service or a sample.
func checkValues(meters map[string]unit.Quantity) error {
	return checkMap("data.meters", meters, maxMeters, func(at string, q unit.Quantity) error {
		return checkQuantity(at, "a meter", q, unit.Distance, unit.Time)
	})
}

func checkService(ev event.Event, d *event.ServiceData) error {
	d.Tasks, d.Meters = some(d.Tasks), someOf(d.Meters)
	if d.Tasks == nil && d.Meters == nil && d.Fluid == nil && d.ToppedUp == nil && !d.Filter && d.Note == "" && d.Defect == "" {
		return refuse("data", "nothing was done; expected tasks, meters, fluid, toppedUp, filter, a defect or a note")
	}
	var f event.FluidData
	if d.Fluid != nil {
		f = *d.Fluid
	}
	return first(
		checkNames("data.tasks", d.Tasks, maxTasks),
		checkOptional("data.component", d.Component),
		checkValues(d.Meters),
		checkOptional("data.fluid.name", f.Name),
		checkVolume("data.fluid.drained", f.Drained),
		checkVolume("data.fluid.filled", f.Filled),
		checkVolume("data.toppedUp", d.ToppedUp),
		checkValid(ev, d),
		checkOptional("data.by", d.By),
	)
}

func checkOptionalDate(at, s string) error {
	if s == "" {
		return nil
	}
	return checkDate(at, s)
}

// checkValid asks for a paper that was valid when the work was done.
func checkValid(ev event.Event, d *event.ServiceData) error {
	if d.ValidUntil == "" {
		return nil
	}
	if err := checkDate("data.validUntil", d.ValidUntil); err != nil {
		return err
	}
	if d.ValidUntil < ev.Time.AddDate(0, 0, -1).Format(time.DateOnly) { // a day for the zones
		return refuse("data.validUntil", "%s is before the day of the work", d.ValidUntil)
	}
	if len(d.Tasks) == 0 {
		return refuse("data.validUntil", "the work lists no task that is valid until then")
	}
	return nil
}

func checkVolume(at string, q *unit.Quantity) error {
	if q == nil {
		return nil
	}
	return checkQuantity(at, "a fluid", *q, unit.Volume)
}

var bookHash = regexp.MustCompile(`^sha256:[0-9a-f]{64}$`)

func checkBook(_ event.Event, d *event.BookData) error { return checkHash("data.hash", d.Hash) }

func checkTurn(_ event.Event, d *event.TurnData) error {
	return first(checkName("data.digest", d.Digest), checkDate("data.date", d.Date))
}

func checkSurvey(_ event.Event, d *fleet.SurveyData) error {
	return first(checkTime("data.turn", d.Turn), checkHash("data.definitions", d.Definitions))
}

// checkBaseline checks that the set, if it is in the event, is what the hash says.
func checkBaseline(_ event.Event, d *fleet.BaselineData) error {
	if err := first(checkHash("data.hash", d.Hash), checkTime("data.turn", d.Turn)); err != nil {
		return err
	}
	if d.Set == nil {
		return nil
	}
	if got := d.Set.Hash(); got != d.Hash {
		return refuse("data.set", "its hash is %s, not %s", quote(got), quote(d.Hash))
	}
	return nil
}

func checkHash(what, hash string) error {
	if !bookHash.MatchString(hash) {
		return refuse(what, "%s; expected sha256: and 64 hex digits", quote(hash))
	}
	return nil
}
