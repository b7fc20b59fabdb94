package people

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/notify/rights"
)

const threeOfThem = `people:
  ines: {name: Ines Thornbeck}
  north: {name: North workshop, mail: north@example.org}
  maud: {name: Maud Ashgrove, mail: maud@example.org}
`

const someRights = threeOfThem + `rights:
  the office: {who: [ines], may: operator}
  the north workshop: {who: [north, maud], may: workshop, where: 'vehicle.tags["depot"] == "north"'}
  whoever keeps the vehicle: {who: [people of the vehicle], may: keeper}
`

var (
	northBus = Vehicle{ID: "bus-01", Tags: map[string]string{"depot": "north"}}
	maudsVan = Vehicle{ID: "van-1", Tags: map[string]string{"depot": "hills"}, People: []string{"maud"}}
)

func directory(t *testing.T, text string) *Directory {
	t.Helper()
	d, err := Parse("people.yaml", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func TestAccess(t *testing.T) {
	written, unwritten := directory(t, someRights), directory(t, threeOfThem+"operator: [north]\n")
	alone := directory(t, "people: {sam: {mail: sam@example.org}}\n")
	for _, tt := range []struct {
		who  string
		a    Access
		v    Vehicle
		want []rights.Role
		sees string
	}{
		{"an operator", written.Access("ines"), northBus, []rights.Role{rights.Operator}, ""},
		{"a workshop in its own depot", written.Access("north"), northBus, []rights.Role{rights.Workshop},
			`[{"where":"vehicle.tags[\"depot\"] == \"north\""},{"own":"north"}]`},
		{"a workshop elsewhere", written.Access("north"), maudsVan, nil, `[{"where":"vehicle.tags[\"depot\"] == \"north\""},{"own":"north"}]`},
		{"a keeper", written.Access("maud"), maudsVan, []rights.Role{rights.Keeper}, `[{"where":"vehicle.tags[\"depot\"] == \"north\""},{"own":"maud"}]`},
		{"somebody gone", written.Access("tobias"), maudsVan, nil, "[]"},
		{"a tablet", written.AccessBy("the north workshop"), northBus, []rights.Role{rights.Workshop}, `[{"where":"vehicle.tags[\"depot\"] == \"north\""}]`},
		{"a tablet of the office", written.AccessBy("the office"), northBus, nil, "[]"},
		{"a tablet of nobody", written.AccessBy("whoever keeps the vehicle"), maudsVan, nil, "[]"},
		{"an operator, unwritten", unwritten.Access("north"), maudsVan, []rights.Role{rights.Operator}, ""},
		{"a keeper, unwritten", unwritten.Access("maud"), maudsVan, []rights.Role{rights.Keeper}, `[{"own":"maud"}]`},
		{"a stranger to it, unwritten", unwritten.Access("maud"), northBus, nil, `[{"own":"maud"}]`},
		{"the only one", alone.Access("sam"), northBus, []rights.Role{rights.Operator}, ""},
		{"whoever sits there", Everything(), northBus, []rights.Role{rights.Operator}, ""},
	} {
		if got := tt.a.Roles(tt.v); !slices.Equal(got, tt.want) {
			t.Errorf("%s is %v to %s, want %v", tt.who, got, tt.v.ID, tt.want)
		}
		if got := tt.a.Sees(); got != tt.sees {
			t.Errorf("%s sees %s, want %s", tt.who, got, tt.sees)
		}
	}
	if got, want := written.May(rights.Postpone, northBus), []string{"the north workshop", "Ines Thornbeck"}; !slices.Equal(got, want) {
		t.Errorf("%q may postpone, want %q", got, want)
	}
	if got, want := unwritten.May(rights.OutOfService, maudsVan), []string{"Maud Ashgrove", "North workshop"}; !slices.Equal(got, want) {
		t.Errorf("%q may take it out of service, want %q", got, want)
	}
	if got, want := written.Pairable(), []string{"the north workshop"}; !slices.Equal(got, want) {
		t.Errorf("a tablet can be paired for %q, want %q", got, want)
	}
}

// TestWatch: the service's own pages speak of the whole fleet, so they are for an operator of
// all of it alone.
func TestWatch(t *testing.T) {
	d := directory(t, someRights+`  the hills: {who: [maud], may: operator, where: 'vehicle.tags["depot"] == "hills"'}
`)
	maud := d.Access("maud")
	if !maud.Allows(rights.TakeBackAny, maudsVan) || maud.Allows(rights.TakeBackAny, northBus) {
		t.Error("an operator of some vehicles is not one of just these")
	}
	for _, verb := range []rights.Verb{rights.Watch, rights.Change} {
		if maud.Allows(verb, maudsVan) || maud.Anywhere(verb) || !d.Access("ines").Anywhere(verb) {
			t.Errorf("who may %s: maud %v", verb, maud.Anywhere(verb))
		}
		if got := d.May(verb, Vehicle{}); !slices.Equal(got, []string{"Ines Thornbeck"}) {
			t.Errorf("who may %s: %q", verb, got)
		}
	}
	for _, a := range []Access{maud, d.Access("north"), d.Access("ines"), {}, Everything()} {
		if a.Anywhere(rights.Watch) && a.Sees() != "" {
			t.Errorf("who sees %s may watch all", a.Sees())
		}
		if !a.Anywhere(rights.Anyone) {
			t.Error("not everybody is anyone")
		}
	}
}

// TestSees: the text that goes with a question shows the vehicles of which something is
// allowed, and no other.
func TestSees(t *testing.T) {
	d := directory(t, someRights)
	rapid.Check(t, func(t *rapid.T) {
		v := Vehicle{ID: "v", Tags: map[string]string{"depot": rapid.SampledFrom([]string{"north", "hills", ""}).Draw(t, "depot")},
			People: rapid.SliceOfN(rapid.SampledFrom([]string{"ines", "north", "maud"}), 0, 3).Draw(t, "people")}
		a := d.Access(rapid.SampledFrom([]string{"ines", "north", "maud", "tobias"}).Draw(t, "who"))
		verb := rapid.SampledFrom([]rights.Verb{rights.Glance, rights.See, rights.File, rights.OutOfService}).Draw(t, "verb")
		sees, err := ReadSees(a.Over(verb))
		if err != nil {
			t.Fatal(err)
		}
		if got, want := sees(v), a.Allows(verb, v); got != want {
			t.Fatalf("%s shows %+v: %v, want %v", a.Over(verb), v, got, want)
		}
	})
	for _, text := range []string{"x", "[{}]", "[]", `[{"where":"vehicle.id ="}]`, `[{"where":"len(vehicle.people) > 0"}]`, `{"all":true}`} {
		if sees, err := ReadSees(text); sees(northBus) || err == nil && text != "[]" && text != "[{}]" {
			t.Errorf("%s shows a vehicle (%v)", text, err)
		}
	}
}

func TestRightsFaults(t *testing.T) {
	_, err := Parse("p", []byte(threeOfThem+`rights:
  a: {may: look}
  b: {who: [inez]}
  c: {who: [people of the vehicle], may: operator}
  d: {who: [maud], may: captain}
  e: {who: [maud], may: look, where: 'stage == "due"'}
  f: {who: [ines], may: operator, where: 'vehicle.kind == "minibus"'}
`))
	const want = `p:6:3: rights "a" does not say who
      a: {may: look}
      ^
hint: say who, like "who: [people of the vehicle]"
p:6:3: rights gives nobody all vehicles, so nobody could run the service
      a: {may: look}
      ^
hint: add an entry like 'the office: {who: [ines], may: operator}'
p:7:3: rights "b" does not say what they may do
      b: {who: [inez]}
      ^
hint: say what, like 'may: keeper'; there are look, driver, keeper, workshop, operator
p:7:13: who: there is no person or group "inez"
      b: {who: [inez]}
                ^^^^
hint: did you mean 'ines'?
p:8:42: rights "c": an operator runs the service, and is named
      c: {who: [people of the vehicle], may: operator}
                                             ^^^^^^^^
hint: write 'may: keeper' for the people of a vehicle
p:9:25: may must be look, driver, keeper, workshop or operator, not "captain"
      d: {who: [maud], may: captain}
                            ^^^^^^^
p:10:38: where: a right cannot hang on stage
      e: {who: [maud], may: look, where: 'stage == "due"'}
                                         ^^^^^^^^^^^^^^^^
hint: compare the vehicle's id, kind, tags or people, like vehicle.tags["depot"] == "north"`
	if err == nil {
		t.Fatal("no faults")
	}
	if got := strings.ReplaceAll(err.Error(), "`", "'"); got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}
