package setup

import (
	"fmt"
	"io/fs"
	"os"
	"slices"
	"strings"
	"time"

	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/unit"
	"telltale/rules/zone"
)

// american are the zones of the USA in the IANA database's list of them by country
// (zone.tab), with the US/ names that it keeps for them.
var american = []string{"US/", "America/New_York", "America/Detroit", "America/Kentucky/", "America/Indiana/", "America/Chicago", "America/Menominee",
	"America/North_Dakota/", "America/Denver", "America/Boise", "America/Phoenix", "America/Los_Angeles", "America/Anchorage", "America/Juneau",
	"America/Sitka", "America/Metlakatla", "America/Yakutat", "America/Nome", "America/Adak", "Pacific/Honolulu"}

// place is what is usual where people live.
type place struct {
	units           unit.System
	dates, spelling string
}

// ofAmerica are the units that are usual in the USA.
var ofAmerica = unit.System{Distance: "mi", Volume: "qt", Temperature: "degF", Pressure: "psi"}

func placeOf(name string) place {
	switch {
	case slices.ContainsFunc(american, func(z string) bool { return name == z || strings.HasSuffix(z, "/") && strings.HasPrefix(name, z) }):
		return place{ofAmerica, "month first", "en-US"}
	case name == "Europe/London":
		return place{unit.System{Distance: "mi", Volume: "L"}, "day first", "en-GB"}
	}
	return place{unit.System{Distance: "km", Volume: "L"}, "day first", "en-GB"}
}

func usualUnits(f *Fleet) string {
	return strings.Join(placeOf(f.Zone).units.Names(), ",")
}

func usualDates(f *Fleet) string    { return placeOf(f.Zone).dates }
func usualSpelling(f *Fleet) string { return placeOf(f.Zone).spelling }

// localZone is this machine's time zone by name, UTC where it tells none.
func localZone() string {
	if name := time.Now().Location().String(); name != "Local" {
		return name
	}
	target, err := os.Readlink("/etc/localtime")
	if _, name, ok := strings.Cut(target, "zoneinfo/"); err == nil && ok {
		if _, err := time.LoadLocation(name); err == nil {
			return name
		}
	}
	return "UTC"
}

func takeZone(f *Fleet, a string) error { return zoneIn(f, a, os.DirFS("/usr/share/zoneinfo")) }

// zoneIn finds near names in the machine's own list of zones, if it has one.
func zoneIn(f *Fleet, a string, list fs.FS) error {
	if name := zone.Spoken(a); name != "" {
		f.Zone = name
		return nil
	}
	if _, err := time.LoadLocation(a); err == nil && a != "Local" {
		f.Zone = a
		return nil
	}
	var names, cities []string
	_ = fs.WalkDir(list, ".", func(path string, d fs.DirEntry, err error) error { // no list: no near name
		if err == nil && !d.IsDir() {
			names = append(names, path)
			if _, city, ok := strings.Cut(path, "/"); ok && strings.EqualFold(city, strings.ReplaceAll(a, " ", "_")) {
				cities = append(cities, path)
			}
		}
		return nil
	})
	if len(cities) == 1 {
		f.Zone = cities[0]
		return nil
	}
	return cli.Hint(fmt.Errorf("there is no time zone %q", a), near(a, names, "it is a name like Europe/London, or Eastern, Central, Mountain or Pacific"))
}
