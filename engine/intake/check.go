package intake

import (
	"fmt"
	"slices"
	"strings"
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
		return refuse(at, "missing")
	case len(s) > maxName:
		return within(at, atMost(s, maxName))
	case strings.TrimSpace(s) != s:
		return refuse(at, "%s begins or ends with a blank", quote(s))
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
			return refuse(at, "%s stands twice", quote(s))
		}
	}
	return nil
}

func checkCount(at string, have, most int) error {
	if have > most {
		return refuse(at, "%d entries, at most %d are kept", have, most)
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
