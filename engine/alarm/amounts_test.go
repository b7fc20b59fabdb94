package alarm

import (
	"encoding/json"
	"reflect"
	"testing"

	"telltale/rules/english"
	"telltale/rules/unit"
	"telltale/rules/word"
)

var overseas = unit.System{Distance: "mi", Volume: "qt"}

// settled is a transition as a fold makes it.
func settled(u unit.System) *Transition {
	r := english.Reader{Marked: true}
	km := func(v float64) string { return r.Amount(v*1000, unit.Distance) }
	t := &Transition{
		Rule: "oil", Message: "Oil: due at " + km(88514) + ", in " + km(-42) + ", after " + r.Amount(500*3600, unit.Time),
		Advise:   "Look again within " + r.Stated(5_000_000, unit.Distance, 1) + "; have " + r.Figures(4.25, unit.Volume) + " ready",
		Evidence: []word.Evidence{{Of: "odometer", Value: 55000, Unit: "mi"}, {Of: `rate("Fe")`, Value: 3, Unit: "mg/kg per 1,000 km", Note: "usual " + r.Rate(2e-6)}},
		Due:      &DuePoint{Limit: "distance", At: &unit.Quantity{Value: 55000, Unit: "mi"}, PulledIn: []PulledIn{{Rule: "iron", Within: km(1609.344)}}},
	}
	t.Settle(u)
	return t
}

func TestSettle(t *testing.T) {
	got := settled(unit.Metric)
	want := &Transition{
		Rule: "oil", Message: "Oil: due at 88,514 km, in -42 km, after 500 h", Advise: "Look again within 5,000 km; have 4.25 L ready",
		Evidence: []word.Evidence{{Of: "odometer", Value: 88513.9, Unit: "km"}, {Of: `rate("Fe")`, Value: 3, Unit: "mg/kg per 1,000 km", Note: "usual 2"}},
		Due:      &DuePoint{Limit: "distance", At: &unit.Quantity{Value: 88513.9, Unit: "km"}, PulledIn: []PulledIn{{Rule: "iron", Within: "1,609 km"}}},
		Amounts: []Amount{
			{"message", english.Span{At: 12, Text: "88,514 km", Value: 88514, Unit: "km"}},
			{"message", english.Span{At: 26, Text: "-42 km", Value: -42, Unit: "km"}},
			{"message", english.Span{At: 40, Text: "500 h", Value: 500, Unit: "h"}},
			{"advise", english.Span{At: 18, Text: "5,000 km", Value: 5000, Unit: "km", Digits: 1}},
			{"advise", english.Span{At: 33, Text: "4.25 L", Value: 4.25, Unit: "L", As: "figures"}},
			{"evidence[1].note", english.Span{At: 6, Text: "2", Value: 2, Unit: "km", As: "rate"}},
			{"due.pulledIn[0].within", english.Span{Text: "1,609 km", Value: 1609, Unit: "km"}},
		},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got  %+v\nwant %+v", got, want)
	}
}

// What is stored is read by one person in miles, by another in kilometres, and stays as it
// is.
func TestWorded(t *testing.T) {
	stored, err := json.Marshal(settled(unit.Metric))
	if err != nil {
		t.Fatal(err)
	}
	var read Transition
	if err := json.Unmarshal(stored, &read); err != nil {
		t.Fatal(err)
	}
	there := read.Worded(overseas)
	if want := settled(overseas); !reflect.DeepEqual(there, want) {
		t.Errorf("in miles %+v\nwant %+v", there, want)
	}
	if there.Message != "Oil: due at 55,000 mi, in -26 mi, after 500 h" || there.Advise != "Look again within 3,000 mi; have 4.49 qt ready" || there.Evidence[1].Note != "usual 3.22" {
		t.Errorf("in miles %q, %q, %q", there.Message, there.Advise, there.Evidence[1].Note)
	}
	if again, err := json.Marshal(&read); err != nil || string(again) != string(stored) {
		t.Errorf("the stored one became %s, %v", again, err)
	}
	if back := there.Worded(unit.System{}); !reflect.DeepEqual(back, settled(unit.Metric)) {
		t.Errorf("back again %+v", back)
	}
}

// Transitions that were stored before they carried amounts say what they said.
func TestWordedWithoutAmounts(t *testing.T) {
	var old Transition
	if err := json.Unmarshal([]byte(`{"rule":"oil","message":"Oil: due at 88,514 km","evidence":[{"of":"odometer","value":88000,"unit":"km"}]}`), &old); err != nil {
		t.Fatal(err)
	}
	if got := old.Worded(overseas); !reflect.DeepEqual(*got, old) {
		t.Errorf("got %+v", got)
	}
}

func TestDropEvidence(t *testing.T) {
	got := settled(unit.Metric)
	got.DropEvidence()
	if len(got.Evidence) != 0 || len(got.Amounts) != 6 || got.Worded(overseas).Due.PulledIn[0].Within != "1,000 mi" {
		t.Errorf("got %+v", got)
	}
}
