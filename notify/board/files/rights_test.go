package files_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"telltale/engine/history"
	"telltale/engine/stream/service"
	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/people"
)

// A workshop sends a table of its own vehicles alone: rows of another's say that there is no
// such vehicle, those of one that it may only look at say so, and nothing is stored of the
// whole file. Nobody enters under the name of somebody, looks at another's file, or writes into
// the folder, which is everybody's.
func TestTablesOfTheirs(t *testing.T) {
	t.Parallel()
	fleet, _ := garage(t, map[string]string{"mileage.yaml": mileage, "forged.yaml": strings.Replace(mileage, "/sheet/mileage", "/people/ines", 1), "broken.yaml": "import: readings\n"})
	d, err := people.Parse("people.yaml", []byte(`people:
  ines: {name: Ines Thornbeck, mail: ines@larkfell.example}
  wyn: {name: Wyn Harrow, mail: wyn@larkfell.example, zone: Europe/London}
  kit: {name: Kit Orrin, mail: kit@larkfell.example, zone: Europe/London}
rights:
  the office: {who: [ines], may: operator}
  north: {who: [wyn], may: workshop, where: 'vehicle.id == "bus-07"'}
  beside: {who: [wyn], may: look, where: 'vehicle.id == "bus-08"'}
  south: {who: [kit], may: workshop, where: 'vehicle.id == "bus-08"'}
`))
	if err != nil {
		t.Fatal(err)
	}
	f := fleet.WithDoor(boardtest.Doorman{})
	f.People = func() *people.Directory { return d }
	h := board.Handler(f)
	dry := func(who, mapping, table string) string {
		return goesTo(t, sending(t, boardtest.As(h, who), "/files", map[string]string{"mapping": mapping}, map[string][2]string{"table": {"june.csv", table}}), "/files/dry/")
	}
	stored := func(vehicle string) int {
		list, err := service.History.Of(t.Context(), f.Service, service.Question{Vehicle: vehicle})
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for _, e := range list {
			if e.What == history.WhatReading {
				n++
			}
		}
		return n
	}
	before7, before8 := stored("bus-07"), stored("bus-08")
	const head, own, other = "Bus,Day,Km\n", "bus-07,05/06/2031,900\n", "bus-08,05/06/2031,900\n"

	at := dry("wyn", "mileage.yaml", head+own+other)
	boardtest.Lacks(t, boardtest.GetAs(t, h, "wyn", at), 200, "Nothing", "you may not enter tables for bus-08", "leave its rows out")
	goesTo(t, boardtest.PostAs(t, h, "wyn", at, nil), "/files/dry/")
	at = dry("kit", "mileage.yaml", head+own+other)
	w := boardtest.GetAs(t, h, "kit", at)
	boardtest.Lacks(t, w, 200, `"bus-07" is not a vehicle of the register`)
	if strings.Contains(boardtest.Says(w), "Bus 7") {
		t.Error("the cure tells the name of another's vehicle")
	}
	goesTo(t, boardtest.PostAs(t, h, "kit", at, nil), "/files/dry/")
	at = dry("wyn", "forged.yaml", head+own)
	boardtest.Lacks(t, boardtest.GetAs(t, h, "wyn", at), 200, "the mapping's source is /people/ines, which is that of what somebody types in themselves")
	goesTo(t, boardtest.PostAs(t, h, "wyn", at, nil), "/files/dry/")
	if stored("bus-07") != before7 || stored("bus-08") != before8 {
		t.Fatal("something of a refused file was stored")
	}

	at = dry("wyn", "mileage.yaml", head+own)
	for _, path := range []string{at, strings.Replace(at, "/dry/", "/sent/", 1), strings.Replace(at, "/dry/", "/register/", 1)} {
		if w := boardtest.GetAs(t, h, "kit", path); w.Code != 404 {
			t.Errorf("another looks at %s: %d", path, w.Code)
		}
	}
	if w := boardtest.PostAs(t, h, "kit", at, nil); w.Code != 404 {
		t.Errorf("another sends it: %d", w.Code)
	}
	goesTo(t, boardtest.PostAs(t, h, "wyn", at, nil), "/files/sent/")
	if stored("bus-07") != before7+1 {
		t.Errorf("of bus-07 there are %d readings, before %d", stored("bus-07"), before7)
	}

	start := boardtest.Says(boardtest.GetAs(t, h, "wyn", "/files"))
	if strings.Contains(start, "broken.yaml") || !strings.Contains(boardtest.Says(boardtest.GetAs(t, h, "ines", "/files")), "broken.yaml") {
		t.Errorf("what of the folder cannot be read is for operators: %s", start)
	}
	vehicles := sending(t, boardtest.As(h, "wyn"), "/files/new", map[string]string{"of": "readings"}, map[string][2]string{"table": {"june.csv", head + own}})
	columns := goesTo(t, vehicles, "/files/new/")
	if page := boardtest.GetAs(t, h, "wyn", columns); strings.Contains(boardtest.Says(page), "folder") {
		t.Errorf("a workshop is offered to save into the folder: %s", boardtest.Says(page))
	}
	form := map[string][]string{"do": {"save"}, "save": {"mine"}, "of": {"readings"}}
	if w := boardtest.PostAs(t, h, "wyn", columns, form); w.Code != 403 {
		t.Errorf("a workshop saves into the folder: %d", w.Code)
	}
	if _, err := os.Stat(filepath.Join(f.Dir, "mappings", "mine.yaml")); err == nil {
		t.Error("a workshop saved into the folder")
	}
}

// A table of vehicles is held beside those that one sees: it lists no other as missing.
func TestVehiclesOfTheirs(t *testing.T) {
	t.Parallel()
	fleet, _ := garage(t, map[string]string{"customers.yaml": "import: vehicles\nvehicle: Reg\nname: Name\nkind: {always: minibus}\nmeters: {odometer: distance}\n"})
	d, err := people.Parse("people.yaml", []byte(`people:
  ines: {name: Ines Thornbeck}
  wyn: {name: Wyn Harrow, zone: Europe/London}
rights:
  the office: {who: [ines], may: operator}
  north: {who: [wyn], may: workshop, where: 'vehicle.id == "bus-08"'}
`))
	if err != nil {
		t.Fatal(err)
	}
	f := fleet.WithDoor(boardtest.Doorman{})
	f.People = func() *people.Directory { return d }
	h := board.Handler(f)
	to := goesTo(t, sending(t, boardtest.As(h, "wyn"), "/files", map[string]string{"mapping": "customers.yaml"}, map[string][2]string{"table": {"v.csv", "Reg,Name\nbus-09,Bus 9\n"}}), "/files/dry/")
	w := boardtest.GetAs(t, h, "wyn", to)
	boardtest.Lacks(t, w, 200, "bus-08", "1 vehicle would be new")
	if strings.Contains(boardtest.Says(w), "bus-07") || strings.Contains(boardtest.Says(w), "Bus 7") {
		t.Errorf("it lists another's vehicle: %s", boardtest.Says(w))
	}
}
