package notify

import (
	"encoding/json"
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/notify/people"
)

const narrowPeople = `people:
  north: {mail: north@larkfell.example, digest: "30 6 * * 1-5", nothing due: say so}
  ines: {mail: ines@larkfell.example, digest: "30 6 * * 1-5", list: owner}
  tove: {mail: tove@larkfell.example, digest: "30 6 * * 1-5", list: operator}
  nobody: {mail: nobody@larkfell.example, digest: "30 6 * * 1-5"}
tell:
  the north: {who: [north], where: 'vehicle.tags.depot == "north" and stage != "soon"', when: digest}
  stops: {who: [north, tove], stages: [warning, overdue]}
  boxes: {who: [tove], where: 'component.kind == "gearbox" or statutory'}
  not the test: {who: [tove], where: 'rule == "annual test"', when: never}
  own: {who: [people of the vehicle], where: 'vehicle.kind != "gritter"'}
`

// narrowFleet are vehicles that differ in all that an entry of tell asks for.
func narrowFleet() map[string]*event.VehicleData {
	out := map[string]*event.VehicleData{}
	for i := range 12 {
		d := &event.VehicleData{Name: fmt.Sprintf("Bus %d", i), Kind: []string{"minibus", "gritter"}[i%2],
			Tags: map[string]string{"depot": []string{"north", "south", "west"}[i%3]}}
		if i%4 == 0 {
			d.People = []string{"ines", "gone"}
		}
		d.Components = []event.ComponentDef{{Name: "box", Kind: "gearbox"}, {Name: "engine", Kind: "engine"}}
		out[fmt.Sprintf("bus-%02d", i)] = d
	}
	return out
}

func drawPart(t *rapid.T) engine.TurnPart {
	vehicle := rapid.Custom(func(t *rapid.T) string { return fmt.Sprintf("bus-%02d", rapid.IntRange(0, 13).Draw(t, "vehicle")) }) // two are registered no more
	component, rule := rapid.SampledFrom([]string{"", "box", "engine"}), rapid.SampledFrom([]string{"oil", "annual test", "copper"})
	part := engine.TurnPart{Date: "2031-02-03", Now: at("2031-02-03T06:30:00Z"), Vehicles: 14}
	for range rapid.IntRange(0, 12).Draw(t, "items") {
		part.Items = append(part.Items, due.Item{Vehicle: vehicle.Draw(t, "of"), Task: rule.Draw(t, "task"), Title: "Work", Component: component.Draw(t, "component"),
			Stage: rapid.SampledFrom([]alarm.Stage{alarm.Normal, alarm.Soon, alarm.Due, alarm.Overdue}).Draw(t, "stage"), Limit: "no history",
			Tags: map[string]string{"depot": "north"}, Statutory: rapid.Bool().Draw(t, "law"), Shelved: rapid.Bool().Draw(t, "aside")})
	}
	all := []alarm.Stage{alarm.Normal, alarm.Advisory, alarm.Caution, alarm.Warning, alarm.Due, alarm.Overdue}
	for range rapid.IntRange(0, 12).Draw(t, "alarms") {
		part.Alarms = append(part.Alarms, alarm.Listed{Tags: map[string]string{"depot": "north"}, Since: part.Now, Transition: alarm.Transition{
			Vehicle: vehicle.Draw(t, "of"), Rule: rule.Draw(t, "rule"), Title: "Metal", Component: component.Draw(t, "component"), Task: rapid.Bool().Draw(t, "task"),
			From: rapid.SampledFrom(all).Draw(t, "from"), To: rapid.SampledFrom(all).Draw(t, "to"), Time: part.Now, Message: "much copper",
			Transition: rapid.SampledFrom([]alarm.Change{alarm.Raised, alarm.Cleared}).Draw(t, "change"),
			Standing:   rapid.SampledFrom([]alarm.Standing{alarm.Unacknowledged, alarm.Acknowledged, alarm.Returned, alarm.OutOfService, alarm.Shelved}).Draw(t, "standing")}})
	}
	return part
}

// TestNarrowedListIsTheSame makes each person's list of all that stands and of what their scope
// leaves of it. The mails are the same to the byte, and so is what is kept for the next list.
func TestNarrowedListIsTheSame(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(narrowPeople))
	if err != nil {
		t.Fatal(err)
	}
	fleet := narrowFleet()
	registered := func(home string) *event.VehicleData { return fleet[home] }
	reg := func(id string) people.Vehicle { return VehicleOf(id, registered(id)) }
	dropped := 0
	rapid.Check(t, func(t *rapid.T) {
		part := drawPart(t)
		for _, p := range d.People() {
			part.Digest = p.ID
			whole := copied(t, part)
			narrow := copied(t, part)
			if err := Narrow(d.Scope(p.ID), registered, &narrow); err != nil {
				t.Fatal(err)
			}
			dropped += len(part.Items) + len(part.Alarms) - len(narrow.Items) - len(narrow.Alarms)
			last := Listed{Date: "2031-02-01"}
			want, wantKept, wantOK := Digest(d, reg, p, Listing{Parts: []engine.TurnPart{whole}, Of: 1, Last: last})
			got, kept, ok := Digest(d, reg, p, Listing{Parts: []engine.TurnPart{copied(t, narrow)}, Of: 1, Last: last})
			if !reflect.DeepEqual(got, want) || !reflect.DeepEqual(kept, wantKept) || ok != wantOK {
				t.Fatalf("%s reads otherwise, of %d items and %d alarms:\n%s\nwant\n%s", p.ID, len(narrow.Items), len(narrow.Alarms), got.Text, want.Text)
			}
			for i := range narrow.Items { // nothing is left that they do not hear of
				if _, heard := (&list{p: readerOf(p)}).hears(d, reg, &lineOf(&narrow.Items[i]).Listed, workStage(&narrow.Items[i])); !heard {
					t.Fatalf("%s is given %+v", p.ID, narrow.Items[i])
				}
			}
		}
	})
	if dropped == 0 {
		t.Error("nothing is left out of any list")
	}
}

// copied is the part as it comes out of the log.
func copied(t *rapid.T, part engine.TurnPart) (out engine.TurnPart) {
	b, err := json.Marshal(part)
	if err == nil {
		err = json.Unmarshal(b, &out)
	}
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestNarrowByWhatIsNoScope leaves everything.
func TestNarrowByWhatIsNoScope(t *testing.T) {
	for _, scope := range []string{"", "{", `[{"where":"vehicle.tags.depot =="}]`, `[{"where":"all(vehicle.people, true)"}]`} {
		part := engine.TurnPart{Digest: "ines", Items: []due.Item{{Vehicle: "bus-07", Stage: alarm.Due}}}
		err := Narrow(scope, func(string) *event.VehicleData { return nil }, &part)
		if err == nil || len(part.Items) != 1 {
			t.Errorf("scope %q: %v, %d items", scope, err, len(part.Items))
		}
	}
}
