package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// monthly is when the fleet's baselines are made anew where the settings do not say:
// the first of each month.
const monthly = "0 0 1 * *"

// parseSchedule reads a cron specification, in UTC.
func parseSchedule(text string) (next func(time.Time) time.Time, err error) {
	if strings.Contains(text, "TZ=") {
		return nil, errors.New("names a zone; it is in UTC")
	}
	parsed, err := cron.ParseStandard(text)
	if err != nil {
		return nil, fmt.Errorf("cannot be read: %w", err)
	}
	spec, ok := parsed.(*cron.SpecSchedule)
	if !ok {
		return nil, errors.New("is no time of the clock")
	}
	spec.Location = time.UTC
	if spec.Next(time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, errors.New("never comes")
	}
	return func(t time.Time) time.Time { return spec.Next(t.UTC()) }, nil
}
