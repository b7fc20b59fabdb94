package notify

import (
	"encoding/json"
	"regexp"
	"strings"
	"testing"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/notify/people"
	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

// Two people of one vehicle, one who reads miles and one who reads kilometres; and a
// program of each.
const twoReaders = `people:
  maud: {mail: maud@larkfell.example, distance: mi, volume: qt, digest: "0 7 * * *", list: owner}
  emil: {mail: emil@larkfell.example, distance: km, volume: L, digest: "0 7 * * *", list: owner}
  maud-desk: {nats: fleet.maud, distance: mi, volume: qt}
  emil-desk: {nats: fleet.emil, distance: km, volume: L}
tell:
  all: {who: [maud, emil, maud-desk, emil-desk]}
`

// raisedBy are transitions as a fold makes them: of a rule, and of a task.
func raisedBy(u unit.System) []alarm.Transition {
	r := english.Reader{Marked: true}
	soot := alarm.Transition{Time: at("2031-02-19T09:30:00Z"), Vehicle: "bus-07", Component: "transmission", Rule: "soot", Transition: "raised", From: "normal",
		To: "caution", Standing: "unacknowledged", Message: "Soot after " + r.Amount(62_000_000, unit.Distance) + ", rising by " + r.Rate(2e-6) + " in " + r.Per(),
		Advise:   "Sample again within " + r.Stated(5_000_000, unit.Distance, 1) + "; have " + r.Figures(4.25, unit.Volume) + " ready",
		Evidence: []word.Evidence{{Of: "fluidAge()", Value: 62_000, Unit: "km", Note: r.Figures(2, unit.Volume) + " topped up"}}}
	oil := alarm.Transition{Time: at("2031-02-19T09:30:00Z"), Vehicle: "bus-07", Rule: "oil", Title: "Change the oil", Task: true, Transition: "raised", From: "normal",
		To: "due", Standing: "unacknowledged", Message: "Change the oil: due at " + r.Amount(48_280_300, unit.Distance),
		Due: &alarm.DuePoint{On: "2031-02-19", Limit: "distance", At: &unit.Quantity{Value: 48280.3, Unit: "km"}, Past: &unit.Quantity{Value: 16.1, Unit: "km"}}}
	soot.Settle(u)
	oil.Settle(u)
	return []alarm.Transition{soot, oil}
}

var (
	inKilometres = regexp.MustCompile(`\b(62,000 km|5,000 km|48,280 km|16 km|1,000 km|62000 km|4\.25 L|4\.3 L|2 L)`)
	inMiles      = regexp.MustCompile(`\b(38,525 mi|3,000 mi|30,000 mi|10 mi|1,000 mi|38525 mi|4\.49 qt|4\.5 qt|2\.11 qt)`)
	ofEither     = regexp.MustCompile(`[0-9] (km|mi|L|qt)\b`)
)

// Each gets their own units of a vehicle that says none, and the vehicle's where it does,
// in mails, lists, calendars, raw figures and as data.
func TestTwoReadersOfOneVehicle(t *testing.T) {
	for _, c := range []struct {
		reads      []string
		maud, emil *regexp.Regexp
	}{
		{nil, inMiles, inKilometres},
		{[]string{"mi", "qt"}, inMiles, inMiles},
		{[]string{"km", "L"}, inKilometres, inKilometres},
	} {
		vehicle := func(id string) people.Vehicle { v := register(id); v.Reads = c.reads; return v }
		for _, u := range []unit.System{unit.Metric, {Distance: "mi", Volume: "qt"}} {
			for id, got := range toldTo(t, vehicle, raisedBy(u)) {
				want := c.maud
				if strings.HasPrefix(id, "emil") {
					want = c.emil
				}
				if n, all := len(want.FindAllString(got, -1)), len(ofEither.FindAllString(got, -1)); n < 8 || n < all {
					t.Errorf("the vehicle reads %q: %s got %d of %d quantities in %s:\n%s", c.reads, id, n, all, want, got)
				}
			}
		}
	}
}

// toldTo is all that each is told, by id.
func toldTo(t *testing.T, reg Register, all []alarm.Transition) map[string]string {
	t.Helper()
	d, err := people.Parse("people.yaml", []byte(twoReaders))
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]string{}
	said := outputs(all...)
	for _, m := range Tell(d, reg, cause("x"), said) {
		var data struct{ Data notice }
		if len(m.Data) > 0 {
			if err := json.Unmarshal(m.Data, &data); err != nil {
				t.Fatal(err)
			}
		}
		out[m.Person] += m.Text
		for _, n := range m.Dates {
			out[m.Person] += "\n" + n.Text
		}
		for _, tr := range data.Data.Transitions {
			out[m.Person] += tr.Message + "\n" + tr.Advise + "\n"
			for _, e := range tr.Evidence {
				if out[m.Person] += e.Note + "\n"; e.Unit != "km" {
					t.Errorf("a program is given %v %s", e.Value, e.Unit)
				}
			}
		}
		if len(data.Data.Transitions) > 0 {
			for _, m := range batches(readerOf(d.Person(m.Person)), "nats", cause("x"), piecesOf(reg, all), 0) {
				out[m.Person] += string(m.Data)
			}
		}
	}
	r := english.Reader{Marked: true}
	why, amounts := english.Written("due at "+r.Amount(48_280_300, unit.Distance), unit.Metric)
	for _, id := range []string{"maud", "emil"} {
		p := d.Person(id)
		part := engine.TurnPart{Digest: id, Date: "2031-02-20", Now: at("2031-02-20T07:00:00Z"), Vehicles: 1, Alarms: []alarm.Listed{{Name: "Bus 7", Transition: all[0]}},
			Items: []due.Item{{Vehicle: "bus-07", Name: "Bus 7", Task: "oil", Title: "Change the oil", Stage: "due", Limit: "distance", Why: why, Amounts: amounts,
				Untold: "the distance since the work cannot be told since 2031-02-01", Needs: []due.Need{{Fluid: "oil", Volume: 4.25}}}}}
		list, _, _ := Digest(d, reg, p, Listing{Parts: []engine.TurnPart{part}, Of: 1})
		out[id] += list.Text + summary(reg, readerOf(p), cause("x"), "", piecesOf(reg, all), 0).Text
		for _, bare := range tellings(d, reg, cause("x"), said) {
			if bare.p.ID == id {
				out[id] += bare.bare(cause("x")).Text
			}
		}
	}
	for id := range out {
		out[id] = strings.Join(strings.Fields(out[id]), " ")
	}
	return out
}

// piecesOf are the transitions as they wait for somebody, of two vehicles.
func piecesOf(reg Register, all []alarm.Transition) (out []piece) {
	for i, t := range all {
		t.Vehicle = []string{"bus-07", "library"}[i]
		out = append(out, pieceOf(news{Transition: presented(reg(t.Vehicle), &t), entry: "all"}, "c-1"))
	}
	return out
}

// What a rule's author typed as words stands as it was typed, and the foot says so; what
// was typed as a quantity needs no note.
func TestAsWritten(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(twoReaders))
	if err != nil {
		t.Fatal(err)
	}
	typed, words := raisedBy(unit.Metric)[0], raisedBy(unit.Metric)[0]
	words.Message = "Soot. Sample again within 5,000 km"
	for _, c := range []struct {
		who  string
		of   alarm.Transition
		want bool
	}{{"maud", typed, false}, {"maud", words, true}, {"emil", typed, false}, {"emil", words, false}} {
		m := letter(cause("x"), telling{p: readerOf(d.Person(c.who)), way: people.Mail, mine: byAll(outputs(c.of))}, "")
		if got := strings.Contains(m.Text, "Texts that come from the rules give distances in km."); got != c.want {
			t.Errorf("%s: %v in\n%s", c.who, got, m.Text)
		}
	}
}
