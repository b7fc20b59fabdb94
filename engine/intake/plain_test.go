package intake

import (
	"fmt"
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"telltale/engine/event"
)

// A digest that is put down at once is the one that the canonical form of the whole
// event gives.
func TestPlainDigest(t *testing.T) {
	plain := 0
	rapid.Check(t, func(rt *rapid.T) {
		text := func(name string) string {
			return rapid.OneOf(rapid.StringMatching(`[ -~]{0,12}`), rapid.StringMatching(`[a-z0-9/-]{1,12}`), rapid.String()).Draw(rt, name)
		}
		moment := func(name string) time.Time {
			return time.Unix(rapid.Int64Range(-2e9, 7e9).Draw(rt, name), rapid.SampledFrom([]int64{0, 1, 120_000_000, 999_999_999}).Draw(rt, name+" ns")).UTC()
		}
		ev := event.Event{ID: event.ID{Source: text("source"), ID: text("id")}, Kind: event.TickEvent, Vehicle: text("vehicle"), Time: moment("time")}
		ev.Recorded = rapid.SampledFrom([]time.Time{{}, ev.Time, moment("recorded")}).Draw(rt, "which")
		if rapid.Bool().Draw(rt, "reading") {
			ev.Kind = event.ReadingEvent
			ev.Data = &event.ReadingData{Meter: text("meter"), Unit: text("unit"), Value: rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 1e6),
				rapid.SampledFrom([]float64{0, 1e20, 1e21, 1e22, 1e-6, 9.99e-7, 1e-9, 1e-10, 1e100, 81234.5})).Draw(rt, "value")}
		}
		got, ok := plainDigest(ev)
		if !ok {
			return
		}
		plain++
		want, err := wholeDigest(ev)
		if err != nil || got != want {
			rt.Fatalf("%+v %+v: %d, want %d (%v)", ev, ev.Data, got, want, err)
		}
	})
	if plain == 0 {
		t.Error("none was plain")
	}
}

// A reading that is read the short way is what the long way makes of it.
func TestPlainReading(t *testing.T) {
	for _, c := range []struct {
		data  string
		plain bool
	}{
		{`{"meter":"odometer","value":81234.5,"unit":"km"}`, true},
		{` { "unit" : "h", "value" : 1.5e3 , "meter" : "engine hours" } `, true},
		{`{"meter":"odometer","value":0,"unit":"mi"}`, true},
		{`{"meter":"odometer","value":-1,"unit":"km"}`, false},
		{`{"meter":"odometer","value":1e999,"unit":"km"}`, false},
		{`{"meter":"odometer","value":1e300,"unit":"km"}`, false},
		{`{"meter":"odometer","value":"PT1H"}`, false},
		{`{"meter":"odometer","value":"1","unit":"km"}`, false},
		{`{"meter":"odometer","value":1,"unit":"L"}`, false},
		{`{"meter":"","value":1,"unit":"km"}`, false},
		{`{"meter":"a\tb","value":1,"unit":"km"}`, false},
		{`{"meter":"Zähler","value":1,"unit":"km"}`, false},
		{`{"meter":"a","value":1}`, false},
		{`{"meter":"a","value":1,"unit":"km","more":1}`, false},
		{`{"meter":"a","value":1,"unit":"km","unit":"km"}`, false},
		{`{"Meter":"a","value":1,"unit":"km"}`, false},
		{`{"meter":"a","value":null,"unit":"km"}`, false},
		{`{"meter":"a","value":{},"unit":"km"}`, false},
		{`["meter"]`, false},
		{`{"meter":"a","value":1,"unit":"km"} 1`, false},
		{`{"meter":"a"`, false},
		{fmt.Sprintf(`{"meter":"%0129d","value":1,"unit":"km"}`, 0), false},
	} {
		got := plainReading([]byte(c.data))
		want, err := wholeReading([]byte(c.data))
		if got == nil != !c.plain || got != nil && (err != nil || !reflect.DeepEqual(any(got), want)) {
			t.Errorf("%s: %+v, the long way gives %+v (%v)", c.data, got, want, err)
		}
	}
}
