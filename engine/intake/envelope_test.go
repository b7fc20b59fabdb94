package intake

import (
	"encoding/json"
	"os"
	"strings"
	"testing"
)

type envelopeCase struct {
	Case, Event, Reason string
	Latin1              bool
}

// envelopeCases are in testdata with their source.
func envelopeCases(t testing.TB) []envelopeCase {
	b, err := os.ReadFile("testdata/cloudevents_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []envelopeCase }
	if err := json.Unmarshal(b, &file); err != nil {
		t.Fatal(err)
	}
	for i, c := range file.Cases {
		if c.Latin1 {
			var b []byte
			for _, r := range c.Event {
				b = append(b, byte(r))
			}
			file.Cases[i].Event = string(b)
		}
	}
	return file.Cases
}

func TestEnvelopeCases(t *testing.T) {
	for _, c := range envelopeCases(t) {
		_, err := decodeEnvelope([]byte(c.Event))
		if got := text(err); got != c.Reason {
			t.Errorf("%s: %s\n got %q\nwant %q", c.Case, c.Event, got, c.Reason)
		}
	}
}

func TestEnvelopeReasons(t *testing.T) {
	head := `{"specversion":"1.0","id":"1","source":"/a","type":"t"`
	for _, c := range []struct{ event, want string }{
		{``, `empty; expected one CloudEvent as a JSON object`},
		{` `, `empty; expected one CloudEvent as a JSON object`},
		{`7`, `a number where one CloudEvent as a JSON object is expected`},
		{`null`, `null where one CloudEvent as a JSON object is expected`},
		{`{`, `not JSON: it ends too early`},
		{head, `not JSON: it ends too early`},
		{head + `,}`, `not JSON: invalid character ',' at start of value at byte 54`},
		{`nul`, `not JSON: it ends too early`},
		{`NaN`, `not JSON: invalid character 'N' at start of value at byte 0`},
		{head + `,"time":"2031-02-30T00:00:00Z"}`, `time: "2031-02-30T00:00:00Z" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"2031-02-10T14:00:00,5Z"}`, `time: "2031-02-10T14:00:00,5Z" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"2031-02-10T4:00:00Z"}`, `time: "2031-02-10T4:00:00Z" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"2031-02-10T14:00:00+24:00"}`, `time: "2031-02-10T14:00:00+24:00" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"2031-02-10T14:00:60Z"}`, `time: "2031-02-10T14:00:60Z" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"2031-02-10T23:59:60Z"}`, `time: "2031-02-10T23:59:60Z" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"time":"0000-01-01T00:00:00Z"}`, `time: the year 0 is not between 1900 and 2199`},
		{head + `,"time":"2200-01-01T00:00:00Z"}`, `time: the year 2200 is not between 1900 and 2199`},
		{head + `,"recordedtime":5}`, `recordedtime: a number where a text is expected`},
		{head + `,"recordedtime":"yesterday"}`, `recordedtime: "yesterday" is not an RFC 3339 time like 2031-02-10T14:00:00Z`},
		{head + `,"datacontenttype":"application/json; charset=latin1"}`, `datacontenttype: "application/json; charset=latin1"; expected "application/json" in UTF-8`},
		{head + `,"datacontenttype":"Application/JSON; charset=UTF-8"}`, ``},
		{head + `,"dataschema":"https://larkfell.example/s"}`, ``},
		{head + `,"Subject":"bus-07"}`, `"Subject": not an attribute's name; expected a to z and 0 to 9, at most 20 of them`},
		{head + `,"":1}`, `"": not an attribute's name; expected a to z and 0 to 9, at most 20 of them`},
		{head + `,"abcdefghij0123456789":""}`, ``},
		{head + `,"abcdefghij01234567890":""}`, `"abcdefghij01234567890": not an attribute's name; expected a to z and 0 to 9, at most 20 of them`},
		{head + `,"foo":[1]}`, `foo: a list where an extension has a text, an integer, true or false`},
		{head + `,"foo":"a\u0007"}`, `foo: control character U+0007`},
		{head + `,"foo":"\ufdd0"}`, `foo: noncharacter U+FDD0`},
		{head + `,"foo":-2147483648}`, ``},
		{head + `,"foo":1e3}`, `foo: 1e3 is not a 32-bit integer, the only kind of number in CloudEvents`},
		{head + `,"foo":null}`, ``},
		{head + `,"subject":"` + strings.Repeat("b", 129) + `"}`, `subject: 129 bytes long; the limit is 128`},
		{`{"specversion":"1.0","id":"` + strings.Repeat("i", 257) + `"}`, `id: 257 bytes long; the limit is 256`},
		{`{"specversion":"1.0","source":"/` + strings.Repeat("s", 256) + `"}`, `source: 257 bytes long; the limit is 256`},
		{`{"source":"/Fähre"}`, `source: "/Fähre" is not a URI reference, "Ã" must be percent-encoded`},
		{`{"source":"//host:port/"}`, `source: "//host:port/" is not a URI reference: invalid port ":port" after host`},
		{head + `,"foo":"` + strings.Repeat("x", MaxBytes) + `"}`, `65600 bytes long; the limit for an event is 65536`},
		{head + `,"foo":` + strings.Repeat("[", 20000), `not JSON: exceeded max depth at byte 10060`},
	} {
		_, err := decodeEnvelope([]byte(c.event))
		if got := text(err); got != c.want {
			t.Errorf("%.120s\n got %q\nwant %q", c.event, got, c.want)
		}
	}
}

func TestLeapSecond(t *testing.T) {
	for _, s := range []string{"2016-12-31T23:59:60Z", "2017-01-01T00:59:60+01:00", "2016-12-31t23:59:60z"} {
		got, err := parseTime(s)
		if err != nil || !got.Equal(at("2017-01-01T00:00:00Z")) {
			t.Errorf("%s: %v, %v", s, got, err)
		}
	}
}
