//go:build oracles

package intake

// The second opinion of the CloudEvents SDK. It is asked in CI, since it takes much
// longer to compile than to ask.

import (
	"encoding/json"
	"testing"

	"github.com/cloudevents/sdk-go/v2/event"
)

// sdkDiffers are the cases in which the CloudEvents SDK for Go decides otherwise,
// with the reason to differ from it.
var sdkDiffers = map[string]string{
	// It is lenient.
	"source with space":   "RFC 3986 has no blanks",
	"subject empty":       "the specification asks for a non-empty string",
	"ext upper-case name": "the specification asks for lower case; the SDK folds it",
	"ext float":           "CloudEvents has no type for it",
	"id with newline":     "the specification keeps control characters out of strings",
	"id NUL":              "the same",
	"lone surrogate":      "the same for half a surrogate pair; the SDK puts U+FFFD",
	"duplicate id keys":   "the last one would win in silence",
	"id in Latin-1 bytes": "JSON is UTF-8 (RFC 8259)",
	"specversion 0.3":     "an older version, whose attributes are others",
	// It is stricter.
	"time lower t/z": "RFC 3339, 5.6, allows either case",
	"time leap sec":  "RFC 3339, 5.7, has the second 60",
}

func TestEnvelopeAgainstSDK(t *testing.T) {
	for _, c := range envelopeCases(t) {
		_, ours := decodeEnvelope([]byte(c.Event))
		var ev event.Event
		theirs := json.Unmarshal([]byte(c.Event), &ev)
		if theirs == nil {
			theirs = ev.Validate()
		}
		_, differs := sdkDiffers[c.Case]
		if agree := (ours == nil) == (theirs == nil); agree == differs {
			t.Errorf("%s: ours %v, the SDK's %v, listed as a difference: %v", c.Case, ours, theirs, differs)
		}
	}
}

// What the SDK writes is what gateways in Go send.
func TestDecodeWhatSDKWrites(t *testing.T) {
	ev := event.New()
	ev.SetID("r-1")
	ev.SetSource("/gateway/3")
	ev.SetType("telltale.reading.v1")
	ev.SetSubject("bus-07")
	ev.SetTime(at("2031-01-03T06:10:00Z"))
	ev.SetExtension("recordedtime", "2031-01-03T07:10:00+01:00")
	ev.SetExtension("sequence", 7)
	if err := ev.SetData("application/json", map[string]any{"meter": "odometer", "value": 81234.5, "unit": "km"}); err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(ev)
	if err != nil {
		t.Fatal(err)
	}
	got, err := Decode(b)
	if err != nil {
		t.Fatalf("%s: %v", b, err)
	}
	want := mustDecode(t, reading(`{"meter":"odometer","value":81234.5,"unit":"km"}`))
	equal(t, got, want)
}
