package setup

import (
	"errors"
	"testing"
	"testing/fstest"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/unit"
)

var zones = fstest.MapFS{"Europe/London": {}, "Europe/Paris": {}, "posix/Europe/Paris": {}, "America/Chicago": {}}

func TestZones(t *testing.T) {
	for said, want := range map[string]string{
		"Europe/London": "Europe/London", "Central": "America/Chicago", "eastern time": "America/New_York", "Pacific Standard Time": "America/Los_Angeles",
		"MST": "America/Denver", "Arizona": "America/Phoenix", "paris": "Europe/Paris", "US/Central": "US/Central", "UTC": "UTC",
	} {
		f := &Fleet{}
		if err := zoneIn(f, said, zones); err != nil || f.Zone != want {
			t.Errorf("%s: %q, %v, want %s", said, f.Zone, err, want)
		}
	}
	for said, want := range map[string]string{
		"Europe/Lodnon": "did you mean Europe/London?",
		"Local":         "it is a name like Europe/London, or Eastern, Central, Mountain or Pacific",
	} {
		var h cli.HintError
		if err := zoneIn(&Fleet{}, said, zones); !errors.As(err, &h) || h.Hint != want {
			t.Errorf("zone %s: %v, hint %q, want %q", said, err, h.Hint, want)
		}
	}
}

// TestUnits: units as a person types them, and what is usual beside them.
func TestUnits(t *testing.T) {
	for _, c := range []struct{ zone, said, distance, volume string }{
		{"America/Chicago", "miles", "mi", "qt"},
		{"America/Chicago", "Miles and Quarts", "mi", "qt"},
		{"America/Chicago", "km", "km", "L"},
		{"Europe/London", "mi", "mi", "L"},
		{"Europe/Paris", "mi", "mi", "qt"},
		{"Europe/Paris", "kilometres, litres", "km", "L"},
		{"UTC", "gal", "mi", "gal"},
		{"UTC", "L", "km", "L"},
		{"UTC", "mi,qt", "mi", "qt"},
	} {
		f := &Fleet{Zone: c.zone}
		if err := takeUnits(f, c.said); err != nil || f.Units.Distance != c.distance || f.Units.Volume != c.volume {
			t.Errorf("%s in %s: %s and %s (%v), want %s and %s", c.said, c.zone, f.Units.Distance, f.Units.Volume, err, c.distance, c.volume)
		}
	}
	f := &Fleet{Zone: "America/Chicago"}
	if err := takeUnits(f, "mi,qt"); err != nil || f.Units != ofAmerica {
		t.Errorf("mi,qt are %v (%v)", f.Units, err)
	}
	f.Zone = "UTC"
	if err := takeUnits(f, "km, l, degF, PSI"); err != nil || f.Units != (unit.System{Distance: "km", Volume: "L", Temperature: "degF", Pressure: "psi"}) {
		t.Errorf("km, l, degF, PSI are %v (%v)", f.Units, err)
	}
	for _, said := range []string{"leagues", "km mi", "qt,L", "degC,degF", "h"} {
		if err := takeUnits(&Fleet{}, said); err == nil {
			t.Errorf("%q is taken", said)
		}
	}
}

// TestUsual: what is usual in a place, as init takes it where nobody says otherwise.
func TestUsual(t *testing.T) {
	for zone, want := range map[string]place{
		"America/Indiana/Knox": {ofAmerica, "month first", "en-US"},
		"US/Eastern":           {ofAmerica, "month first", "en-US"},
		"Europe/London":        {unit.System{Distance: "mi", Volume: "L"}, "day first", "en-GB"},
		"America/Toronto":      {unit.System{Distance: "km", Volume: "L"}, "day first", "en-GB"},
		"UTC":                  {unit.System{Distance: "km", Volume: "L"}, "day first", "en-GB"},
	} {
		if got := placeOf(zone); got != want {
			t.Errorf("%s: %+v, want %+v", zone, got, want)
		}
	}
}
