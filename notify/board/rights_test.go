package board_test

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"slices"
	"strings"
	"testing"

	"telltale/notify/board"
	"telltale/notify/board/boardtest"
	"telltale/notify/board/frame"
	provider "telltale/notify/board/signin/fleet"
	"telltale/notify/people"
	"telltale/notify/rights"
	"telltale/rules"
)

// twoDepots is who may what in a fleet of two depots: in the north one of each role, whose
// name is their role's, and a tablet.
const twoDepots = `people:
  operator: {name: Ines Thornbeck, mail: ines@larkfell.example, list: operator}
  look: {name: Lena Marl, mail: lena@larkfell.example}
  driver: {name: Dora Vint, mail: dora@larkfell.example}
  keeper: {name: Karl Osper, mail: karl@larkfell.example, list: owner}
  workshop: {name: Wyn Harrow, mail: wyn@larkfell.example}
  chief: {name: Chris Ember, mail: chris@larkfell.example, list: operator}
  both: {name: Bea Tarn, mail: bea@larkfell.example}
  nobody: {name: Nora Quill, mail: nora@larkfell.example}
  maud: {name: Maud Ashgrove, mail: maud@larkfell.example}
  pat: {name: Pat Umber, mail: pat@larkfell.example}
rights:
  the office: {who: [operator], may: operator}
  north look: {who: [look], may: look, where: 'vehicle.tags["depot"] == "north"'}
  north drivers: {who: [driver], may: driver, where: 'vehicle.tags["depot"] == "north"'}
  north keepers: {who: [keeper], may: keeper, where: 'vehicle.tags["depot"] == "north"'}
  north office: {who: [chief], may: operator, where: 'vehicle.tags["depot"] == "north"'}
  drives one: {who: [both], may: driver, where: 'vehicle.id == "bus-01"'}
  keeps one: {who: [both], may: keeper, where: 'vehicle.id == "van-02"'}
  north workshop: {who: [workshop, pat], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
`

// whoDoes are those who are tried, each with their role; tablet is one of the workshop.
var whoDoes = []struct {
	who  string
	role rights.Role
}{
	{"look", rights.Look}, {"driver", rights.Driver}, {"keeper", rights.Keeper}, {"workshop", rights.Workshop},
	{tablet, rights.Workshop}, {"operator", rights.Operator},
}

var tablet = boardtest.Tablet("north workshop")

const rightsBook = `book: 1
units: {distance: km, volume: L}
measures: {front lining: mm}
tasks:
  engine oil:
    title: Change the engine oil
    where: component.kind == "engine"
    every: {distance: 10000 km}
    early: {distance: 1000 km}
    unknown history: from first reading
  safety inspection:
    title: Safety inspection
    every: {time: 4 months}
    statutory: true
    unknown history: from first reading
  linings:
    title: Renew the front linings
    every: {until: {front lining: 3 mm}}
  repairs:
    title: Repair what was reported
    every: when reported
rules:
  iron in the oil:
    title: Iron in the oil of the engine
    on: sample
    measure: value("Fe")
    above: {caution: 50, warning: 100}
    say: Iron ${value("Fe")} mg/kg
    advise: Stop and have the engine inspected.
    source: common practice, no source
  copper in the oil:
    on: sample
    measure: value("Cu")
    above: {caution: 20}
    say: Copper ${value("Cu")} mg/kg
    advise: Take a second sample.
    source: common practice, no source
`

// another begins each name and text of the vehicle of the other depot.
const another = "zyxw"

const northVehicles = `vehicles:
  bus-01:
    name: Bus 1
    kind: minibus
    zone: Europe/London
    tags: {depot: north}
    people: [maud]
    meters: {odometer: distance}
    components: {engine: {kind: engine, fluid: 5W-30, capacity: 7 L}}
  van-02: {name: Van 2, kind: van, zone: Europe/London, tags: {depot: north}, meters: {odometer: distance}}
`

const southVehicles = `  zyxw-9:
    name: Zyxwname
    plate: ZYXW 999
    kind: zyxwkind
    tags: {depot: zyxwdepot, zyxwtag: zyxwvalue}
    people: [pat]
    meters: {odometer: distance, zyxwmeter: hours}
    components: {zyxwpart: {kind: engine, fluid: zyxwfluid, capacity: 7 L}}
`

// sent is a line of events: what a vehicle's gateway, laboratory or person told.
func sent(kind, source, id, vehicle, at, data string) string {
	return fmt.Sprintf(`{"specversion":"1.0","type":"telltale.%s.v1","source":%q,"id":%q,"subject":%q,"time":%q,"data":%s}`+"\n", kind, source, id, vehicle, at, data)
}

// told is what is told of a vehicle: it is due for its oil, what the law asks for is overdue,
// and a sheet raised a warning and a caution.
func told(vehicle, component, of string) string {
	read := `{"meter":"odometer","value":%d,"unit":"km"}`
	out := sent("reading", "/gateway/"+of, of+"1", vehicle, "2031-01-06T08:00:00Z", fmt.Sprintf(read, 120000)) +
		sent("reading", "/gateway/"+of, of+"2", vehicle, "2031-03-06T08:00:00Z", fmt.Sprintf(read, 124000)) +
		sent("reading", "/gateway/"+of, of+"3", vehicle, "2031-06-02T08:00:00Z", fmt.Sprintf(read, 129700)) +
		sent("sample", "/laboratory/"+of, of+"4", vehicle, "2031-06-03T08:00:00Z", fmt.Sprintf(`{"number":"%sL-7","component":%q,"drawn":"2031-06-03","meters":{"odometer":{"value":129800,"unit":"km"}},"laboratory":"%slab","results":[{"analyte":"Fe","value":150,"unit":"mg/kg"},{"analyte":"Cu","value":30,"unit":"mg/kg"}]}`, of, component, of)) +
		sent("service", "/cards/"+of, of+"5", vehicle, "2031-06-04T08:00:00Z", fmt.Sprintf(`{"tasks":[],"defect":"%swipers smear","note":"%snote","by":"%sfitter"}`, of, of, of))
	return out
}

// depots is the fleet; without another, the south depot has no vehicle.
func depots(t *testing.T, south bool) *boardtest.Fleet {
	f := boardtest.Files{Rules: []rules.File{{Name: "rules/all.yaml", Text: []byte(rightsBook)}}, People: twoDepots, Vehicles: northVehicles,
		Events: told("bus-01", "engine", "n") + sent("reading", "/gateway/n", "v1", "van-02", "2031-01-06T08:00:00Z", `{"meter":"odometer","value":5000,"unit":"km"}`)}
	for _, w := range whoDoes {
		source := "/people/" + w.who
		if w.who == tablet {
			source = "/devices/tablet-1"
		}
		f.Events += sent("reading", source, "e-"+w.role.String(), "bus-01", "2031-06-05T08:00:00Z", `{"meter":"odometer","value":130000,"unit":"km"}`)
	}
	if south {
		f.Vehicles += southVehicles
		f.Events += told("zyxw-9", "zyxwpart", another) + sent("reading", "/gateway/s", "s9", "zyxw-stranger", "2031-06-01T08:00:00Z", `{"meter":"odometer","value":5,"unit":"km"}`)
	}
	return boardtest.New(t, f)
}

// signedIn is the board of a fleet to which people sign in.
func signedIn(f *boardtest.Fleet) (*frame.Frame, http.Handler) {
	d := f.WithDoor(boardtest.Doorman{})
	return d, d.Handler(routesOf(d)...)
}

// routesOf are all pages of a board to which people sign in, whoever lets them in.
func routesOf(f *frame.Frame) []frame.Route {
	was := f.Door
	defer func() { f.Door = was }()
	board.Entrance(f, provider.Config{})
	return board.Routes(f)
}

// TestRoutes holds what each page needs, as people read it. A new page has its line here:
// look whether what it needs is right.
func TestRoutes(t *testing.T) {
	t.Parallel()
	f := boardtest.New(t, boardtest.Files{People: twoDepots})
	text, err := os.ReadFile("testdata/routes.txt")
	if err != nil {
		t.Fatal(err)
	}
	want := strings.Split(strings.TrimSpace(string(text)), "\n")
	for _, r := range routesOf(f.Frame) {
		line := fmt.Sprintf("%-62s %s", r.Pattern, r.Needs)
		if i := slices.Index(want, line); i < 0 {
			t.Errorf("testdata/routes.txt lacks\n%s", line)
		} else {
			want = slices.Delete(want, i, i+1)
		}
		_, path, _ := strings.Cut(r.Pattern, " ")
		if r.Needs == rights.Anyone && !slices.Contains([]string{"/{$}", "/me", "/more", "/words"}, path) && !strings.HasPrefix(path, "/me/") && path != "/sign-out" {
			t.Errorf("%s does not say what it needs", r.Pattern)
		}
	}
	for _, line := range want {
		t.Errorf("testdata/routes.txt has too much\n%s", line)
	}
}

// filled is an address of a route, of a vehicle, for somebody.
func filled(pattern, vehicle string, role rights.Role) string {
	_, path, _ := strings.Cut(pattern, " ")
	component, of := "engine", "n"
	if vehicle != "bus-01" {
		component, of = "zyxwpart", another
	}
	return strings.NewReplacer("{$}", "", "{vehicle}", vehicle, "{rule}", url.PathEscape("iron in the oil"), "{component}", component, "{number}", of+"L-7",
		"{analyte}", "Fe", "{id}", "e-"+role.String(), "{name}", url.PathEscape("iron in the oil"), "{hash}", "0", "{key}", "0", "{seq}", "1").Replace(path)
}

// asks sends what a route's pattern says, with an empty form.
func asks(t *testing.T, h http.Handler, who, pattern, path string) *httptest.ResponseRecorder {
	t.Helper()
	if strings.HasPrefix(pattern, "POST ") {
		return boardtest.PostAs(t, h, who, path, nil)
	}
	return boardtest.GetAs(t, h, who, path)
}

// TestEachCell: each page answers each role, of its own vehicle and of another's, as the
// table of rights says and nothing else: a vehicle that one may not see is not there, and what
// one may not do to one's own says who may.
func TestEachCell(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	for _, r := range routesOf(f) {
		if _, path, _ := strings.Cut(r.Pattern, " "); strings.HasPrefix(path, "/sign-") || strings.HasPrefix(path, "/pair") || strings.HasPrefix(path, "/me/") {
			continue // of who is signed in where, and not of what they may do
		}
		if w := asks(t, h, "", r.Pattern, filled(r.Pattern, "bus-01", rights.Look)); r.Needs != rights.Open && w.Header().Get("Location") == "" {
			t.Errorf("%s answers a stranger with %d", r.Pattern, w.Code)
		}
		if r.Needs != rights.Open && r.Needs != rights.Anyone {
			want := http.StatusForbidden
			if strings.Contains(r.Pattern, "{vehicle}") && r.Needs.OfVehicle() {
				want = http.StatusNotFound
			}
			if w := asks(t, h, "nobody", r.Pattern, filled(r.Pattern, "bus-01", rights.Look)); w.Code != want {
				t.Errorf("%s answers who has no rights with %d, want %d", r.Pattern, w.Code, want)
			}
		}
		of := []string{"bus-01"}
		if strings.Contains(r.Pattern, "{vehicle}") && r.Needs.OfVehicle() {
			of = append(of, "zyxw-9")
		}
		for _, vehicle := range of {
			allowed := 0 // what an operator gets
			for _, w := range slices.Backward(whoDoes) {
				got := asks(t, h, w.who, r.Pattern, filled(r.Pattern, vehicle, w.role))
				want := allowed
				switch {
				case w.role == rights.Operator:
					allowed = got.Code
					want = got.Code
					if got.Code == http.StatusForbidden || got.Code >= 500 {
						t.Errorf("%s answers an operator with %d", r.Pattern, got.Code)
					}
				case vehicle != "bus-01":
					want = http.StatusNotFound
				case !rights.Allows(w.role, r.Needs):
					want = http.StatusForbidden
				}
				if got.Code != want {
					t.Errorf("%s of %s answers %s with %d, want %d\n%.300s", r.Pattern, vehicle, w.who, got.Code, want, boardtest.Says(got))
				}
				if got.Code == http.StatusForbidden && !strings.Contains(boardtest.Says(got), "This is not yours to do. Who may: ") {
					t.Errorf("%s tells %s: %s", r.Pattern, w.who, boardtest.Says(got))
				}
				if got.Code == http.StatusNotFound && vehicle != "bus-01" && !strings.HasSuffix(boardtest.Says(got), "> There is nothing here. The address may be wrong, or what is there is not yours to see.") {
					t.Errorf("%s tells %s of another's vehicle: %s", r.Pattern, w.who, boardtest.Says(got))
				}
			}
		}
	}
}

// TestKeeperByRegister: without rights, whoever the register names for a vehicle keeps it, and
// sees no other.
func TestKeeperByRegister(t *testing.T) {
	t.Parallel()
	f, h := signedIn(depots(t, true))
	before, _, _ := strings.Cut(twoDepots, "rights:")
	d, err := people.Parse("people.yaml", []byte(before+"operator: [operator]\n"))
	if err != nil {
		t.Fatal(err)
	}
	f.People = func() *people.Directory { return d }
	for path, want := range map[string]int{"/": 200, "/due": 200, "/v/bus-01": 200, "/v/bus-01/work": 200, "/v/van-02": 404, "/v/zyxw-9": 404, "/rules": 403, "/people": 403, "/v/bus-01/sample": 403} {
		if w := boardtest.GetAs(t, h, "maud", path); w.Code != want {
			t.Errorf("%s: %d, want %d", path, w.Code, want)
		}
	}
	if got := boardtest.Says(boardtest.GetAs(t, h, "maud", "/vehicles")); !strings.Contains(got, "1 in service.") {
		t.Errorf("she sees %s", got)
	}
	if w := boardtest.GetAs(t, h, "operator", "/v/zyxw-9"); w.Code != 200 {
		t.Errorf("the operator sees %d", w.Code)
	}
	if got := boardtest.Says(boardtest.GetAs(t, h, "nobody", "/")); !strings.Contains(got, "Nothing") && !strings.Contains(got, "No vehicle") {
		t.Errorf("who has no vehicle reads %s", got)
	}
}
