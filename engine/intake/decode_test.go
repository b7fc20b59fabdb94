package intake

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"telltale/engine/event"
	"telltale/rules/unit"
)

func at(s string) time.Time {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		panic(err)
	}
	return t.UTC()
}

func text(err error) string {
	if err == nil {
		return ""
	}
	return err.Error()
}

func equal(t *testing.T, got, want event.Event) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("\n got %+v %+v\nwant %+v %+v", got, got.Data, want, want.Data)
	}
}

func mustDecode(t *testing.T, s string) event.Event {
	t.Helper()
	ev, err := Decode([]byte(s))
	if err != nil {
		t.Fatalf("%s: %v", s, err)
	}
	return ev
}

// envelop wraps data in an envelope of that kind.
func envelop(kind, data string) string {
	return fmt.Sprintf(`{"specversion":"1.0","type":"telltale.%s.v1","source":"/gateway/3","id":"r-1",`+
		`"subject":"bus-07","time":"2031-01-03T06:10:00Z","data":%s}`, kind, data)
}

func reading(data string) string { return envelop("reading", data) }

func TestDecodeReading(t *testing.T) {
	ev := mustDecode(t, reading(`{"meter":"odometer","value":81234.5,"unit":"km"}`))
	equal(t, ev, event.Event{
		ID: event.ID{Source: "/gateway/3", ID: "r-1"}, Kind: event.ReadingEvent, Vehicle: "bus-07",
		Time: at("2031-01-03T06:10:00Z"), Recorded: at("2031-01-03T06:10:00Z"), Digest: ev.Digest,
		Data: &event.ReadingData{Meter: "odometer", Value: 81234.5, Unit: "km"},
	})
	if ev.Digest != 14470728392925520058 {
		t.Errorf("digest %d: stored records compare with the one that was", ev.Digest)
	}
}

func TestDecodeSample(t *testing.T) {
	ev := mustDecode(t, `{"specversion":"1.0","type":"telltale.sample.v1","source":"/laboratory","id":"s-1","subject":"bus-07",
		"time":"2031-02-10T15:00:00+01:00","recordedtime":"2031-02-19T09:30:00Z","data":{"number":"L-1042","component":"transmission",
		"meters":{"hours":"PT1H30M"},"fluidAge":{"value":0,"unit":"mi"},
		"results":[{"analyte":"Cu","value":0,"unit":"ppm"},{"analyte":"Pb","below":1,"unit":"mg/kg"},{"analyte":"unobtainium","value":-1,"unit":"%"}]}}`)
	zero, one, minus := 0.0, 1.0, -1.0
	equal(t, ev, event.Event{
		ID: event.ID{Source: "/laboratory", ID: "s-1"}, Kind: event.SampleEvent, Vehicle: "bus-07",
		Time: at("2031-02-10T14:00:00Z"), Recorded: at("2031-02-19T09:30:00Z"), Digest: ev.Digest,
		Data: &event.SampleData{
			Number: "L-1042", Component: "transmission",
			Meters:   map[string]unit.Quantity{"hours": {Value: 1.5, Unit: "h"}},
			FluidAge: &unit.Quantity{Value: 0, Unit: "mi"},
			Results: []event.ResultData{
				{Analyte: "Cu", Value: &zero, Unit: "ppm"}, {Analyte: "Pb", Below: &one, Unit: "mg/kg"},
				{Analyte: "unobtainium", Value: &minus, Unit: "%"},
			},
		},
	})
}

// A refusal names the event as far as it could be read.
func TestDecodeRefusedKeepsHead(t *testing.T) {
	ev, err := Decode([]byte(`{"specversion":"0.3","Type":"x","source":"/gateway/3","id":"r-1","subject":"bus-07","time":"2031-01-03T06:10:00Z"}`))
	if want := `specversion: "0.3"; expected "1.0"`; text(err) != want {
		t.Errorf("got %q, want %q", text(err), want)
	}
	equal(t, ev, event.Event{ID: event.ID{Source: "/gateway/3", ID: "r-1"}, Vehicle: "bus-07", Time: at("2031-01-03T06:10:00Z")})
}

func TestDecodeHead(t *testing.T) {
	ok := reading(`{"meter":"odometer","value":1,"unit":"km"}`)
	for _, c := range []struct{ old, new, want string }{
		{`telltale.reading.v1`, `telltale.reading.v2`, `type: "telltale.reading.v2" is not known; expected one of telltale.vehicle.v1, telltale.meter-replaced.v1, telltale.reading.v1, telltale.sample.v1, telltale.service.v1, telltale.answer.v1, telltale.void.v1`},
		{`telltale.reading.v1`, `telltale..v1`, `type: "telltale..v1" is not known; expected one of telltale.vehicle.v1, telltale.meter-replaced.v1, telltale.reading.v1, telltale.sample.v1, telltale.service.v1, telltale.answer.v1, telltale.void.v1`},
		{`"subject":"bus-07",`, ``, `subject: missing; name the vehicle`},
		{`"subject":"bus-07"`, `"subject":" bus-07"`, `subject: " bus-07" begins or ends with a space`},
		{`"time":"2031-01-03T06:10:00Z",`, ``, `time: missing; say when it was observed, for example 2031-02-10T14:00:00Z`},
		{`telltale.reading.v1`, `telltale.tick.v1`, `subject: a tick belongs to no vehicle; leave it out`},
		{`"data":{"meter":"odometer","value":1,"unit":"km"}`, `"foo":1`, `data: missing`},
		{`"data":{"meter":"odometer","value":1,"unit":"km"}`, `"data":null`, `data: null; leave the field out instead`},
	} {
		_, err := Decode([]byte(strings.Replace(ok, c.old, c.new, 1)))
		if text(err) != c.want {
			t.Errorf("%s for %s:\n got %q\nwant %q", c.new, c.old, text(err), c.want)
		}
	}
}

// What is dropped or spelt otherwise makes no other event; all else does.
func TestDigest(t *testing.T) {
	ok := envelop("service", `{"tasks":["a"],"meters":{"engine":"PT90M"},"note":"x"}`)
	base := mustDecode(t, ok).Digest
	for _, c := range []struct {
		old, new string
		same     bool
	}{
		{`"specversion"`, ` "traceparent":"00-1","specversion"`, true},
		{`"subject"`, `"recordedtime":"2031-01-03T07:10:00+01:00","subject"`, true},
		{`06:10:00Z`, `07:10:00.000+01:00`, true},
		{`"PT90M"`, `{"unit":"h","value":1.50}`, true},
		{`"note":"x"`, `"note":"\u0078","component":""`, true},
		{`"note":"x"`, `"note":"y"`, false},
		{`"PT90M"`, `{"value":90,"unit":"min"}`, false},
		{`06:10:00Z`, `06:10:01Z`, false},
		{`"subject"`, `"recordedtime":"2031-01-03T07:10:00Z","subject"`, false},
		{`bus-07`, `bus-08`, false},
	} {
		s := strings.Replace(ok, c.old, c.new, 1)
		if got := mustDecode(t, s).Digest; (got == base) != c.same {
			t.Errorf("%s: same digest %v, want %v", s, got == base, c.same)
		}
	}
}
