package intake

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"telltale/engine/meter"
	"telltale/rules/english"
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
	maxResults = 200

	maxVolume  = 100_000.0 // L
	maxTorque  = 100_000.0 // N m
	maxTorques = 32
)

// checkName asks for a name that can be shown and compared.
func checkName(at, s string) error {
	switch {
	case s == "":
		return fmt.Errorf("%s: missing", at)
	case len(s) > maxName:
		return fmt.Errorf("%s: %w", at, atMost(s, maxName))
	case strings.TrimSpace(s) != s:
		return fmt.Errorf("%s: %s begins or ends with a blank", at, quote(s))
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

// checkNames asks for a list of at most n names of which none stands twice.
func checkNames(at string, names []string, n int) error {
	if err := checkCount(at, len(names), n); err != nil {
		return err
	}
	for i, s := range names {
		at := fmt.Sprintf("%s[%d]", at, i)
		if err := checkName(at, s); err != nil {
			return err
		}
		if slices.Contains(names[:i], s) {
			return fmt.Errorf("%s: %s stands twice", at, quote(s))
		}
	}
	return nil
}

func checkCount(at string, have, most int) error {
	if have > most {
		return fmt.Errorf("%s: %d entries, at most %d are kept", at, have, most)
	}
	return nil
}

// bounds of the quantities by kind, in base units.
var bounds = map[unit.Kind]float64{unit.Distance: meter.MostDistance, unit.Time: meter.MostRunning, unit.Volume: maxVolume, unit.Torque: maxTorque}

// checkQuantity asks for a quantity of one of the kinds, not negative and
// believable; who names what needs it, for the error text.
func checkQuantity(at, who string, q unit.Quantity, kinds ...unit.Kind) error {
	if err := checkUnit(at, who, q.Unit, kinds...); err != nil {
		return err
	}
	v, k, err := q.Base()
	if err != nil {
		return err
	}
	switch most := bounds[k]; {
	case math.IsNaN(v) || v < 0:
		return fmt.Errorf("%s.value: %s is negative", at, number(q.Value))
	case v > most:
		return fmt.Errorf("%s.value: %s is more than %s can be", at, q, who)
	}
	return nil
}

func checkUnit(at, who, u string, kinds ...unit.Kind) error {
	k, ok := unit.Of(u)
	if ok && u != "" && slices.Contains(kinds, k) {
		return nil
	}
	cure := who + " needs " + english.List("or", unit.Names(kinds...))
	switch {
	case u == "":
		return fmt.Errorf("%s.unit: missing, %s", at, cure)
	case !ok:
		return fmt.Errorf("%s.unit: unknown unit %s, %s", at, quote(u), cure)
	}
	return fmt.Errorf("%s.unit: %q measures %s, %s", at, u, k, cure)
}

func number(v float64) string { return unit.Quantity{Value: v}.String() }

// first returns the first fault of those given.
func first(faults ...error) error {
	for _, err := range faults {
		if err != nil {
			return err
		}
	}
	return nil
}

// mustBeEmpty refuses fields that mean nothing where they stand.
func mustBeEmpty(who string, fields map[string]bool) error {
	var set []string
	for name, isSet := range fields {
		if isSet {
			set = append(set, name)
		}
	}
	if len(set) == 0 {
		return nil
	}
	slices.Sort(set)
	return fmt.Errorf("data.%s: means nothing in %s, leave it out", set[0], who)
}
