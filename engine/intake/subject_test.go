package intake

import (
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"telltale/engine/event"
)

func TestToken(t *testing.T) {
	for _, c := range []struct{ vehicle, token string }{
		{"bus-07", "bus-07"}, {"Van_3", "Van_3"}, {"van 3", "van=203"}, {"a.b", "a=2Eb"}, {"=", "=3D"}, {"*", "=2A"}, {">", "=3E"},
		{"Fähre", "F=C3=A4hre"}, {"🚌", "=F0=9F=9A=8C"}, {"=20", "=3D20"},
	} {
		if got := Token(c.vehicle); got != c.token {
			t.Errorf("Token(%q) = %q, want %q", c.vehicle, got, c.token)
		}
		if got, err := Untoken(c.token); err != nil || got != c.vehicle {
			t.Errorf("Untoken(%q) = %q, %v, want %q", c.token, got, err, c.vehicle)
		}
	}
}

func TestUntokenRefuses(t *testing.T) {
	for _, c := range []struct{ token, want string }{
		{"", `vehicle token: empty`},
		{"a=2eb", `vehicle token: "a=2eb" is spelt "a=2Eb"`},
		{"=41", `vehicle token: "=41" is spelt "A"`},
		{"van 3", `vehicle token: "van 3" is spelt "van=203"`},
		{"a=2", `vehicle token: "a=2" is spelt "a=3D2"`},
		{"a=", `vehicle token: "a=" is spelt "a=3D"`},
		{"=G0", `vehicle token: "=G0" is spelt "=3DG0"`},
		{"=+1", `vehicle token: "=+1" is spelt "=3D=2B1"`},
		{strings.Repeat("a", 129), `vehicle token: 129 bytes long; the limit is 128`},
		{strings.Repeat("a", 385), `vehicle token: 385 bytes long; the limit is 384`},
	} {
		if _, err := Untoken(c.token); text(err) != c.want {
			t.Errorf("Untoken(%q):\n got %q\nwant %q", c.token, text(err), c.want)
		}
	}
}

// A vehicle has one token, a token one vehicle, and it is safe in a subject.
func TestTokenProperty(t *testing.T) {
	safe := regexp.MustCompile(`^[A-Za-z0-9_=-]+$`)
	rapid.Check(t, func(t *rapid.T) {
		vehicle := rapid.StringN(1, -1, maxName).Draw(t, "vehicle")
		token := Token(vehicle)
		back, err := Untoken(token)
		if err != nil || back != vehicle || !safe.MatchString(token) {
			t.Fatalf("%q became %q became %q, %v", vehicle, token, back, err)
		}
		other := rapid.StringMatching(`[A-Za-z0-9_=.-]{1,12}`).Draw(t, "token")
		if v, err := Untoken(other); err == nil && Token(v) != other {
			t.Fatalf("%q read as %q, which is %q", other, v, Token(v))
		}
	})
}

func TestDecodeMessage(t *testing.T) {
	ok := reading(`{"meter":"odometer","value":1,"unit":"km"}`)
	tick := `{"specversion":"1.0","type":"telltale.tick.v1","source":"/clock","id":"1","time":"2031-01-03T06:10:00Z"}`
	for _, c := range []struct{ subject, event, vehicle, want string }{
		{"telltale.in.bus-07.reading", ok, "bus-07", ``},
		{"telltale.event.13.bus-07.reading", ok, "bus-07", ``},
		{"telltale.event.13.bus-08.reading", ok, "bus-08", `subject: "bus-07", but the NATS subject is that of "bus-08"`},
		{"telltale.event.13.bus-07.sample", ok, "bus-07", `type: "telltale.reading.v1", but the NATS subject says "sample"`},
		{"telltale.event.13.bus=2D07.reading", ok, "", `vehicle token: "bus=2D07" is spelt "bus-07"`},
		{"telltale.event.13.bus-07.tick", tick, "bus-07", `type: only the service itself writes a tick`},
		{"telltale.event.x.bus-07.reading", ok, "", `NATS subject "telltale.event.x.bus-07.reading"; expected telltale.in.<vehicle>.<kind>`},
		{"telltale.in.bus-07", ok, "", `NATS subject "telltale.in.bus-07"; expected telltale.in.<vehicle>.<kind>`},
		{"telltale.in.bus-07.reading", `{"id":"r-1"`, "bus-07", `not JSON: it ends too early`},
	} {
		ev, err := DecodeMessage(c.subject, []byte(c.event))
		if text(err) != c.want || ev.Vehicle != c.vehicle {
			t.Errorf("%s: vehicle %q\n got %q\nwant %q", c.subject, ev.Vehicle, text(err), c.want)
		}
	}
}

func TestDecodeInternal(t *testing.T) {
	tick, _ := Encode(Tick(at("2031-01-03T06:15:00Z")))
	if ev, err := DecodeInternal("telltale.all.tick", tick); err != nil {
		t.Error(err)
	} else {
		equal(t, ev, Tick(at("2031-01-03T06:15:00Z")))
	}
	for _, c := range []struct{ subject, event, want string }{
		{"telltale.all.turn", string(tick), `type: "telltale.tick.v1", but the NATS subject says "telltale.all.turn"`},
		{"telltale.in.bus-07.reading", reading(`{"meter":"odometer","value":1,"unit":"km"}`), `type: "telltale.reading.v1", but the NATS subject says "telltale.in.bus-07.reading"`},
		{"telltale.all.tick", ``, `empty; expected one CloudEvent as a JSON object`},
	} {
		if _, err := DecodeInternal(c.subject, []byte(c.event)); text(err) != c.want {
			t.Errorf("%s:\n got %q\nwant %q", c.subject, text(err), c.want)
		}
	}
}

func TestSubject(t *testing.T) {
	for _, c := range []struct {
		ev   event.Event
		want string
	}{
		{event.Event{Kind: event.MeterReplacedEvent, Vehicle: "van 3"}, "telltale.in.van=203.meter-replaced"},
		{Tick(at("2031-01-03T06:15:00Z")), "telltale.all.tick"},
		{event.Event{Kind: event.TurnEvent}, "telltale.all.turn"},
	} {
		if got := Subject(c.ev); got != c.want {
			t.Errorf("got %q, want %q", got, c.want)
		}
	}
}
