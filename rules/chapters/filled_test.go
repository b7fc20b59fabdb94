package chapters_test

import (
	"regexp"
	"testing"

	"telltale/rules"
	"telltale/rules/chapters"
)

// invented are figures for what the chapters leave to the user: they serve the cases
// below and no vehicle.
var invented = map[string]string{
	"distance": "60000 km", "time": "48 months", "caution": "3", "warning": "6",
	"P": "290", "Ca": "130", "B": "55", "Zn": "900", "Si": "4", "Na": "4", "K": "1", "KV100": "7.2", "KV40": "35", "Mg": "20", "Mo": "5", "TAN": "0.6", "TBN": "8", "flash": "220",
	"disc": "22 mm", "deflection": "15 mm",
	"Fe": "90", "Cu": "40", "Al": "22", "Pb": "8", "Sn": "3",
}

// What waits for a figure is raised and cleared like the rest once it is filled in.
const filledCases = `book: 1
units: {distance: km, volume: L}
cases:
  copper that was made since the drain:
    given:
      - 2031-01-01 vehicle bus-01 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L
      - 2031-01-01 vehicle bus-02 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L
      - 2031-01-02 sample bus-01 transmission odo 60000 age 30000 km Cu 40
      - 2031-01-02 sample bus-02 transmission odo 60000 age 30000 km Cu 40
      - 2031-01-03 service bus-01 "transmission fluid" on transmission odo 60000 filled 4 L
      - 2031-01-03 service bus-02 "transmission fluid" on transmission odo 60000 filled 4 L
      - 2031-06-01 sample bus-01 transmission odo 70000 Cu 55
      - 2031-06-01 sample bus-02 transmission odo 70000 Cu 85
      - 2031-12-01 sample bus-01 transmission odo 80000 Cu 58
      - 2031-12-01 sample bus-02 transmission odo 90000 Cu 88
    expect:
      - {on: 2031-06-01, vehicle: bus-01, rule: copper made since the drain, to: caution}
      - {on: 2031-06-01, vehicle: bus-02, rule: copper made since the drain, to: warning}
      - {on: 2031-12-01, vehicle: bus-01, rule: copper made since the drain, transition: cleared}
      - {on: 2031-12-01, vehicle: bus-02, rule: copper made since the drain, transition: cleared}
  iron that rises faster than it did:
    given:
      - 2031-01-01 vehicle bus-01 minibus meter odometer component transmission "automatic transmission" fluid ATF capacity 8 L
      - 2031-01-02 sample bus-01 transmission odo 60000 age 10000 km Fe 20
      - 2031-06-01 sample bus-01 transmission odo 70000 age 20000 km Fe 60
      - 2031-12-01 sample bus-01 transmission odo 80000 age 30000 km Fe 130
      - 2032-06-01 sample bus-01 transmission odo 90000 age 40000 km Fe 140
      - 2032-12-01 sample bus-01 transmission odo 100000 age 50000 km Fe 180
      - 2033-06-01 sample bus-01 transmission odo 110000 age 60000 km Fe 190
    expect:
      - {on: 2031-06-01, rule: iron rising fast, to: caution}
      - {on: 2031-12-01, rule: iron rising fast, to: warning}
      - {on: 2032-06-01, rule: iron rising fast, transition: cleared}
      - {on: 2032-12-01, rule: iron rising fast, to: caution}
      - {on: 2033-06-01, rule: iron rising fast, transition: cleared}
  work by the booklet, by time:
    given:
      - 2031-01-01 vehicle van-01 van tag fuel=diesel meter odometer
      - 2031-01-01 vehicle van-02 van tag fuel=petrol meter odometer
      - 2031-01-05 service van-01 "timing belt" "fuel filter" odo 20000
      - 2031-01-05 service van-02 "spark plugs" odo 20000
      - 2035-02-01 service van-01 "timing belt" "fuel filter" odo 20400
      - 2035-02-01 service van-02 "spark plugs" odo 20400
      - 2039-01-10 service van-01 "timing belt" "fuel filter" odo 20800
      - 2039-01-10 service van-02 "spark plugs" odo 20800
    expect:
      - {on: 2031-01-01, vehicle: van-01, rule: fuel filter, to: due}
      - {on: 2031-01-01, vehicle: van-01, rule: timing belt, to: due}
      - {on: 2031-01-01, vehicle: van-02, rule: spark plugs, to: due}
      - {on: 2031-01-01, vehicle: van-02, rule: timing belt, to: due}
      - {on: 2031-01-05, vehicle: van-01, rule: fuel filter, transition: cleared}
      - {on: 2031-01-05, vehicle: van-01, rule: timing belt, transition: cleared}
      - {on: 2031-01-05, vehicle: van-02, rule: spark plugs, transition: cleared}
      - {on: 2034-10-07, vehicle: van-01, rule: timing belt, to: soon}
      - {on: 2034-12-06, vehicle: van-01, rule: fuel filter, to: soon}
      - {on: 2034-12-06, vehicle: van-02, rule: spark plugs, to: soon}
      - {on: 2035-01-05, vehicle: van-01, rule: fuel filter, to: due}
      - {on: 2035-01-05, vehicle: van-01, rule: timing belt, to: due}
      - {on: 2035-01-05, vehicle: van-02, rule: spark plugs, to: due}
      - {on: 2035-01-06, vehicle: van-01, rule: fuel filter, to: overdue}
      - {on: 2035-01-06, vehicle: van-01, rule: timing belt, to: overdue}
      - {on: 2035-01-06, vehicle: van-02, rule: spark plugs, to: overdue}
      - {on: 2035-02-01, vehicle: van-01, rule: fuel filter, transition: cleared}
      - {on: 2035-02-01, vehicle: van-01, rule: timing belt, transition: cleared}
      - {on: 2035-02-01, vehicle: van-02, rule: spark plugs, transition: cleared}
      - {on: 2038-11-03, vehicle: van-01, rule: timing belt, to: soon}
      - {on: 2039-01-02, vehicle: van-01, rule: fuel filter, to: soon}
      - {on: 2039-01-02, vehicle: van-02, rule: spark plugs, to: soon}
      - {on: 2039-01-10, vehicle: van-01, rule: fuel filter, transition: cleared}
      - {on: 2039-01-10, vehicle: van-01, rule: timing belt, transition: cleared}
      - {on: 2039-01-10, vehicle: van-02, rule: spark plugs, transition: cleared}
  front discs from new to worn:
    of: [front brake discs]
    given:
      - 2031-01-01 vehicle van-01 van meter odometer
      - 2031-01-01 vehicle van-02 van meter odometer
      - 2031-01-01 vehicle van-03 van meter odometer
      - 2031-01-10 measured van-01 odo 20000 "front disc" 24 mm
      - 2031-01-10 measured van-02 odo 20000 "front disc" 24 mm
      - 2031-01-10 measured van-03 odo 20000 "front disc" 24 mm
      - 2031-03-11 measured van-01 odo 24000 "front disc" 23.6 mm
      - 2031-03-11 measured van-02 odo 24000 "front disc" 23.6 mm
      - 2031-03-11 measured van-03 odo 24000 "front disc" 23.6 mm
      - 2031-05-10 measured van-01 odo 28000 "front disc" 23.2 mm
      - 2031-05-10 measured van-02 odo 28000 "front disc" 23.2 mm
      - 2031-05-10 measured van-03 odo 28000 "front disc" 23.2 mm
      - 2031-09-07 service van-01 "front brake discs" odo 36000
      - 2031-09-27 measured van-02 odo 38000 "front disc" 22 mm
      - 2031-09-27 measured van-03 odo 38000 "front disc" 22 mm
      - 2031-09-28 service van-02 "front brake discs" odo 38020
      - 2031-10-20 reading van-03 odometer 39500 km
      - 2031-10-21 service van-03 "front brake discs" odo 39520
      - 2031-10-21 measured van-03 taken after odo 39520 "front disc" 24 mm
    expect:
      - {on: 2031-08-23, vehicle: van-01, rule: front brake discs, to: soon}
      - {on: 2031-08-23, vehicle: van-02, rule: front brake discs, to: soon}
      - {on: 2031-08-23, vehicle: van-03, rule: front brake discs, to: soon}
      - {on: 2031-09-07, vehicle: van-01, rule: front brake discs, transition: cleared}
      - {on: 2031-09-27, vehicle: van-02, rule: front brake discs, to: due}
      - {on: 2031-09-27, vehicle: van-03, rule: front brake discs, to: due}
      - {on: 2031-09-28, vehicle: van-02, rule: front brake discs, transition: cleared}
      - {on: 2031-10-20, vehicle: van-03, rule: front brake discs, to: overdue}
      - {on: 2031-10-21, vehicle: van-03, rule: front brake discs, transition: cleared}
  rear discs from new to worn:
    of: [rear brake discs]
    given:
      - 2031-01-01 vehicle van-01 van meter odometer
      - 2031-01-01 vehicle van-02 van meter odometer
      - 2031-01-01 vehicle van-03 van meter odometer
      - 2031-01-10 measured van-01 odo 20000 "rear disc" 24 mm
      - 2031-01-10 measured van-02 odo 20000 "rear disc" 24 mm
      - 2031-01-10 measured van-03 odo 20000 "rear disc" 24 mm
      - 2031-03-11 measured van-01 odo 24000 "rear disc" 23.6 mm
      - 2031-03-11 measured van-02 odo 24000 "rear disc" 23.6 mm
      - 2031-03-11 measured van-03 odo 24000 "rear disc" 23.6 mm
      - 2031-05-10 measured van-01 odo 28000 "rear disc" 23.2 mm
      - 2031-05-10 measured van-02 odo 28000 "rear disc" 23.2 mm
      - 2031-05-10 measured van-03 odo 28000 "rear disc" 23.2 mm
      - 2031-09-07 service van-01 "rear brake discs" odo 36000
      - 2031-09-27 measured van-02 odo 38000 "rear disc" 22 mm
      - 2031-09-27 measured van-03 odo 38000 "rear disc" 22 mm
      - 2031-09-28 service van-02 "rear brake discs" odo 38020
      - 2031-10-20 reading van-03 odometer 39500 km
      - 2031-10-21 service van-03 "rear brake discs" odo 39520
      - 2031-10-21 measured van-03 taken after odo 39520 "rear disc" 24 mm
    expect:
      - {on: 2031-08-23, vehicle: van-01, rule: rear brake discs, to: soon}
      - {on: 2031-08-23, vehicle: van-02, rule: rear brake discs, to: soon}
      - {on: 2031-08-23, vehicle: van-03, rule: rear brake discs, to: soon}
      - {on: 2031-09-07, vehicle: van-01, rule: rear brake discs, transition: cleared}
      - {on: 2031-09-27, vehicle: van-02, rule: rear brake discs, to: due}
      - {on: 2031-09-27, vehicle: van-03, rule: rear brake discs, to: due}
      - {on: 2031-09-28, vehicle: van-02, rule: rear brake discs, transition: cleared}
      - {on: 2031-10-20, vehicle: van-03, rule: rear brake discs, to: overdue}
      - {on: 2031-10-21, vehicle: van-03, rule: rear brake discs, transition: cleared}
  auxiliary belt by its deflection:
    of: [belt by its deflection]
    given:
      - 2031-01-01 vehicle van-01 van meter odometer
      - 2031-01-01 vehicle van-02 van meter odometer
      - 2031-01-01 vehicle van-03 van meter odometer
      - 2031-01-10 measured van-01 odo 20000 "belt deflection" 9 mm
      - 2031-01-10 measured van-02 odo 20000 "belt deflection" 9 mm
      - 2031-01-10 measured van-03 odo 20000 "belt deflection" 9 mm
      - 2031-03-11 measured van-01 odo 24000 "belt deflection" 10.2 mm
      - 2031-03-11 measured van-02 odo 24000 "belt deflection" 10.2 mm
      - 2031-03-11 measured van-03 odo 24000 "belt deflection" 10.2 mm
      - 2031-05-10 measured van-01 odo 28000 "belt deflection" 11.4 mm
      - 2031-05-10 measured van-02 odo 28000 "belt deflection" 11.4 mm
      - 2031-05-10 measured van-03 odo 28000 "belt deflection" 11.4 mm
      - 2031-09-07 service van-01 "belt by its deflection" odo 36000
      - 2031-09-27 measured van-02 odo 37000 "belt deflection" 15 mm
      - 2031-09-27 measured van-03 odo 37000 "belt deflection" 15 mm
      - 2031-09-28 service van-02 "belt by its deflection" odo 37020
      - 2031-10-20 reading van-03 odometer 38500 km
      - 2031-10-21 service van-03 "belt by its deflection" odo 38520
      - 2031-10-21 measured van-03 taken after odo 38520 "belt deflection" 9 mm
    expect:
      - {on: 2031-08-23, vehicle: van-01, rule: belt by its deflection, to: soon}
      - {on: 2031-08-23, vehicle: van-02, rule: belt by its deflection, to: soon}
      - {on: 2031-08-23, vehicle: van-03, rule: belt by its deflection, to: soon}
      - {on: 2031-09-07, vehicle: van-01, rule: belt by its deflection, transition: cleared}
      - {on: 2031-09-27, vehicle: van-02, rule: belt by its deflection, to: due}
      - {on: 2031-09-27, vehicle: van-03, rule: belt by its deflection, to: due}
      - {on: 2031-09-28, vehicle: van-02, rule: belt by its deflection, transition: cleared}
      - {on: 2031-10-20, vehicle: van-03, rule: belt by its deflection, to: overdue}
      - {on: 2031-10-21, vehicle: van-03, rule: belt by its deflection, transition: cleared}
`

var fillIn = regexp.MustCompile(`([A-Za-z0-9]+): fill in`)

func TestFilledInIsShown(t *testing.T) {
	files := []rules.File{{Name: "filled.yaml", Text: []byte(filledCases)}}
	for _, c := range chapters.All() {
		text := fillIn.ReplaceAllFunc(c.Text, func(b []byte) []byte {
			key := string(fillIn.FindSubmatch(b)[1])
			if invented[key] == "" {
				t.Errorf("%s: nothing is invented for %q", c.Name, b)
			}
			return []byte(key + ": " + invented[key])
		})
		files = append(files, rules.File{Name: c.File(), Text: text})
	}
	book, err := rules.Load(files)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range book.ToFill { // rules, tasks and baselines: what waits is not asked to be shown
		t.Error(f.String())
	}
	allShown(t, book)
}
