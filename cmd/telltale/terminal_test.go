package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules/unit"
)

// moreSheets are sheets of the pickup's engine, some of which a clerk typed in other units
// than its odometer shows.
const moreSheets = `2031-02-03T15:00 sample pickup engine odometer 158250mi number S-1 Fe 18 Cu 4 Al 3 Pb 1 Cr 1 Si 7 Na 4 K 2 KV100 8.7 flash 221 reported 2031-02-11
2031-04-03T15:00 sample pickup engine odometer 257575km age 9000km number S-2 Fe 6 Cu 2 Al 1 Pb 1 Cr 1 Si 4 Na 4 K 2 KV100 8.6 flash 219 reported 2031-04-11
2031-05-20T15:00 sample pickup engine odometer 161480mi number S-3 Fe 13 Cu 4 Al 3 Pb 2 Cr 1 Si 6 Na 5 K 2 KV100 8.2 flash 214 reported 2031-05-28
2031-06-20T15:00 service pickup on engine topped 0.4L odometer 162300mi
2031-07-20T15:00 sample pickup engine odometer 164250mi number S-4 Fe 23 Cu 6 Al 5 Pb 4 Cr 2 Si 9 Na 5 K 2 KV100 8 flash 210 reported 2031-07-28
2031-10-01T15:00 sample pickup engine odometer 166300mi number S-5 Fe 10 Cu 5 Al 4 Pb 3 Cr 2 Si 8 Na 5 K 2 KV100 8.3 flash 209 reported 2031-10-09
2031-11-20T15:00 sample pickup engine odometer 167940mi number S-6 Fe 95 Cu 21 Al 17 Pb 12 Cr 6 Si 31 Na 5 K 3 KV100 7.1 flash 188 reported 2031-11-28
2031-12-01T08:00 reading minivan odometer 61000km
2031-12-02T08:00 reading sedan odometer 12000mi
2031-12-30T08:00 reading pickup odometer 1690000mi
2031-12-04T08:00 sample sedan engine odometer 150000km age 900000km number S-7 Fe 12 KV40 60`

// terminalOf is a folder as init makes it for somebody, with the notebook of the household in
// the USA and some sheets, served to the end of the year.
func terminalOf(t *testing.T, zone, units string) (dir, events string, nc *nats.Conn) {
	t.Helper()
	y := household{"us", zone, units, nil}.year(t, "testdata/private/us")
	for i, line := range strings.Split(moreSheets, "\n") {
		ev, err := intake.Short(line, "more-"+string(rune('a'+i)), unit.Metric)
		if err != nil {
			t.Fatal(err)
		}
		y.events = append(y.events, ev)
	}
	slices.SortStableFunc(y.events, func(a, b event.Event) int { return a.Recorded.Compare(b.Recorded) })
	register, err := os.ReadFile("testdata/private/us/vehicles.yaml")
	distance, _, _ := strings.Cut(units, ",")
	register = bytes.Replace(register, []byte("meters: {odometer: distance}"), []byte("meters: {odometer: distance}\n    reads: "+distance), 2) // the third reads as the folder does
	if err == nil {
		err = os.WriteFile(filepath.Join(y.fleet, "vehicles.yaml"), register, 0o644)
	}
	settings := filepath.Join(y.fleet, "telltale.yaml")
	text, err2 := os.ReadFile(settings)
	if err2 == nil {
		err2 = os.WriteFile(settings, append([]byte("clock: events\n"), text...), 0o644)
	}
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	var lines strings.Builder
	for _, ev := range y.events {
		line, err := intake.Encode(ev)
		if err != nil {
			t.Fatal(err)
		}
		lines.Write(append(line, '\n'))
	}
	events = filepath.Join(t.TempDir(), "events.jsonl")
	if err := os.WriteFile(events, []byte(lines.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	s := serving(t, y.fleet)
	nc = s.connect(t)
	p, err := gateway.Send(t.Context(), service.At{Conn: nc}, y.events...)
	if err == nil {
		_, err = p.Refused(t.Context())
	}
	if err != nil {
		t.Fatal(err)
	}
	return y.fleet, events, nc
}

// cited is what a rule file says of its sources, which are quoted as they are written.
var cited = regexp.MustCompile(`(?m)^ *source: .*$`)

// TestTerminalInUnits: every command shows an owner in the USA no kilometre, litre or degree
// Celsius, and one in Europe no mile, quart or degree Fahrenheit, of the same cars.
func TestTerminalInUnits(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, zone, units string
		own, not          *regexp.Regexp
	}{
		{"usa", "America/Chicago", "mi,qt", milesWritten, metricWritten},
		{"europe", "Europe/Paris", "km,L", metricWritten, milesWritten},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			dir, events, nc := terminalOf(t, c.zone, c.units)
			own := 0
			for _, args := range shownTo(t, dir, events) {
				code, out, errs := told(t, args...)
				text := methods.ReplaceAllString(cited.ReplaceAllString(out+errs, ""), "")
				for _, name := range args {
					if strings.HasSuffix(name, ".svg") {
						picture, err := os.ReadFile(name)
						if err != nil {
							t.Errorf("%s: %v", strings.Join(args, " "), err)
						}
						text += string(picture)
					}
				}
				own += len(c.own.FindAllString(text, -1))
				t.Logf("%d: telltale %s: %d", code, strings.Join(args, " "), len(text))
				for _, at := range append(c.not.FindAllStringIndex(text, -1), forFiles.FindAllStringIndex(text, -1)...) {
					t.Errorf("telltale %s\nshows …%s…", strings.Join(args, " "), text[max(0, at[0]-80):min(len(text), at[1]+40)])
				}
			}
			programs(t, dir, nc, strings.Split(c.units, ","))
			if own < 300 {
				t.Errorf("%d quantities are shown; that is too few", own)
			}
		})
	}
}

var ownUnit = regexp.MustCompile(`"unit":"(?:mi|qt|gal|degF|psi|bar|[^"]*1,000 mi[^"]*)"|"per":"1,000 mi"`)

// programs get base units, whatever anybody reads, unless they name others; the vehicle's own
// go before these, the folder's come after.
func programs(t *testing.T, dir string, nc *nats.Conn, folder []string) {
	t.Helper()
	for _, args := range [][]string{{"due", "--days", "500"}, {"why", "pickup"}, {"why", "sedan"}, {"sample", "pickup"}} {
		text := telltale(t, append(args, "--json", "--dir", dir)...)
		if at := ownUnit.FindString(text); at != "" || !strings.Contains(text, `{`) {
			t.Errorf("telltale %s --json says %s", strings.Join(args, " "), at)
		}
	}
	unitOf := func(vehicle string, units []string) string {
		list, err := service.Why.Ask(t.Context(), nc, service.Question{Vehicle: vehicle, Rule: "engine oil", Units: units})
		if err != nil {
			return err.Error()
		}
		return list[0].Due.Limits[0].Meter.Read.Unit
	}
	for _, c := range []struct {
		vehicle string // the pickup has units of its own, the sedan has none
		units   []string
		want    string
	}{
		{"pickup", nil, "km"}, {"sedan", nil, "km"},
		{"pickup", []string{}, folder[0]}, {"sedan", []string{}, folder[0]},
		{"pickup", []string{"km"}, folder[0]}, {"sedan", []string{"km"}, "km"}, {"sedan", []string{"mi"}, "mi"},
		{"sedan", []string{"qt"}, folder[0]},
		{"sedan", []string{"km", "mi"}, "asking for why: units: km and mi are both for a distance; choose one"},
	} {
		if got := unitOf(c.vehicle, c.units); got != c.want {
			t.Errorf("of the %s with %q: %s, want %s", c.vehicle, c.units, got, c.want)
		}
	}
}

// shownTo are the commands, one after the other.
func shownTo(t *testing.T, dir, events string) (all [][]string) {
	t.Helper()
	scratch := t.TempDir()
	ask := func(args ...string) { all = append(all, append(args, "--dir", dir)) }
	file := func(args ...string) {
		all = append(all, append(args, "--rules", filepath.Join(dir, "rules"), "--vehicles", filepath.Join(dir, "vehicles.yaml"), events))
	}
	ask("due")
	ask("due", "--days", "500")
	ask("due", "--days", "500", "--csv")
	ask("due", "--days", "500", "--for", "keeper")
	ask("due", "--days", "500", "--html", "-")
	ask("due", "--on", "2031-08-01")
	ask("alarms", "--all")
	cars := []string{"pickup", "sedan", "minivan"}
	if !underCI() {
		cars = cars[:2]
	}
	for _, car := range cars {
		ask("due", "--why", car)
		ask("why", car)
		ask("history", car)
		ask("history", car, "--csv")
		ask("history", car, "--html", "-")
		ask("undo", car)
		if underCI() {
			file("history", car)
			file("why", car)
		}
	}
	ask("why", "pickup", "engine oil")
	ask("sample", "pickup", "engine", "--chart", filepath.Join(scratch, "sheet.svg"))
	ask("sample", "pickup", "engine", "--analyte", "Fe", "--chart", filepath.Join(scratch, "iron.svg"))
	ask("sample", "sedan")
	file("sample", "pickup")
	ask("baselines")
	ask("baselines", "--limits")
	ask("refused")
	ask("record", "pickup", "engine oil", "--odometer", "171,000", "--filled", "6", "--dry")
	ask("record", "pickup", "engine oil", "--odometer", "171500", "--filled", "6.2", "--filter")
	ask("record", "pickup", "--odometer", "999000", "--dry")
	ask("record", "minivan", "--odometer", "900", "--dry")
	ask("record", "pickup", "--topped-up", "0.4", "--component", "engine", "--odometer", "171600")
	ask("record", "pickup", "--component", "engine", "--sample", "Fe=74 Cu=9 Pb=<1 KV100=7.9 flash=400", "--number", "S-9", "--fluid-age", "900", "--odometer", "171900")
	ask("record", "pickup", "--odometer", "5kg")
	ask("answer", "pickup", "engine oil", "postpone", "--further", "500", "--why", "parts come on Friday", "--dry")
	ask("answer", "pickup", "engine oil", "postpone", "--further", "90000", "--why", "parts come on Friday", "--dry")
	ask("answer", "pickup", "engine oil", "accept", "--by", "orla", "--dry")
	ask("meter", "replaced", "pickup", "--old", "172000", "--new", "12", "--dry")
	ask("undo", "pickup", "--yes")
	file("replay", "--all", "--until", "2032-03-01")
	other := filepath.Join(scratch, "rules")
	if err := os.CopyFS(other, os.DirFS(filepath.Join(dir, "rules"))); err != nil {
		t.Fatal(err)
	}
	own := filepath.Join(other, "own.yaml")
	text := "book: 1\ntasks:\n  sooner:\n    title: Change the engine oil sooner\n    over: engine oil\n    where: component.kind == \"petrol engine\"\n    every: {distance: 4000 km, time: 6 months}\n    unknown history: due\n    cautions: [hot fluid, raised vehicle, vehicle can roll, used fluid]\n"
	if err := os.WriteFile(own, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	file("replay", "--against", other, "--all")
	return all
}
