package intake

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"telltale/engine/event"
)

// Token is the vehicle as one token of a NATS subject: A-Z a-z 0-9 _ - stand for
// themselves, every other byte is = and two upper-case hex digits.
func Token(vehicle string) string {
	var b strings.Builder
	for i := 0; i < len(vehicle); i++ {
		if c := vehicle[i]; plain(c) {
			b.WriteByte(c)
		} else {
			fmt.Fprintf(&b, "=%02X", c)
		}
	}
	return b.String()
}

func plain(c byte) bool {
	return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || c == '_' || c == '-'
}

// Untoken is the inverse of Token. It takes no other spelling than Token's, so
// that a vehicle has one subject and so one partition.
func Untoken(token string) (string, error) {
	if len(token) > 3*maxName {
		return "", fmt.Errorf("vehicle token: %w", atMost(token, 3*maxName))
	}
	var b strings.Builder
	for i := 0; i < len(token); i++ {
		c := token[i]
		if c == '=' && i+2 < len(token) {
			if v, err := strconv.ParseUint(token[i+1:i+3], 16, 8); err == nil {
				c, i = byte(v), i+2
			}
		}
		b.WriteByte(c)
	}
	vehicle := b.String()
	switch want := Token(vehicle); {
	case token == "":
		return "", errors.New("vehicle token: empty")
	case want != token:
		return "", fmt.Errorf("vehicle token: %s is spelt %s", quote(token), quote(want))
	case len(vehicle) > maxName:
		return "", fmt.Errorf("vehicle token: %w", atMost(vehicle, maxName))
	}
	return vehicle, nil
}

// Subject is where an event is published: telltale.in.<vehicle>.<kind>, for
// internal kinds telltale.all.<kind>, to which the service alone has a right.
func Subject(ev event.Event) string {
	if ev.Kind.Internal() {
		return "telltale.all." + ev.Kind.String()
	}
	return "telltale.in." + Token(ev.Vehicle) + "." + ev.Kind.String()
}

// DecodeMessage reads an event as it is stored on NATS, under
// telltale.in.<vehicle>.<kind> or telltale.event.<partition>.<vehicle>.<kind>.
// It refuses internal kinds, and events of another vehicle or kind than the
// subject's. On an error the event returned holds what could be read; its vehicle
// is the subject's, under which the message is stored.
func DecodeMessage(subject string, b []byte) (event.Event, error) {
	token, kind, err := splitSubject(subject)
	if err != nil {
		return event.Event{}, err
	}
	var ev event.Event
	fault := tooLong(b, MaxBytes) // whatever it says it is
	if fault == nil {
		ev, fault = Decode(b)
	}
	said := ev.Vehicle
	if ev.Vehicle, err = Untoken(token); err != nil {
		return ev, err
	}
	switch {
	case fault != nil:
		return ev, fault
	case ev.Kind.Internal():
		return ev, &Fault{"type", fmt.Sprintf("only the service itself writes a %s", ev.Kind), event.Forged}
	case said != ev.Vehicle:
		return ev, refuse("subject", "%s, but the NATS subject is that of %s", quote(said), quote(ev.Vehicle))
	case kind != ev.Kind.String():
		return ev, refuse("type", "%q, but the NATS subject says %s", typeOf(ev.Kind), quote(kind))
	}
	return ev, nil
}

func splitSubject(subject string) (token, kind string, err error) {
	p := strings.Split(subject, ".")
	switch {
	case len(p) == 4 && p[0] == "telltale" && p[1] == "in":
		return p[2], p[3], nil
	case len(p) == 5 && p[0] == "telltale" && p[1] == "event" && isNumber(p[2]):
		return p[3], p[4], nil
	}
	return "", "", fmt.Errorf("NATS subject %s; expected telltale.in.<vehicle>.<kind>", quote(subject))
}

func isNumber(s string) bool { return s != "" && strings.Trim(s, "0123456789") == "" }

// DecodeInternal reads what the service itself wrote, under telltale.all.tick
// or another of the internal kinds.
func DecodeInternal(subject string, b []byte) (event.Event, error) {
	ev, err := Decode(b)
	if err != nil {
		return ev, err
	}
	if !ev.Kind.Internal() || subject != Subject(ev) {
		return ev, refuse("type", "%q, but the NATS subject says %s", typeOf(ev.Kind), quote(subject))
	}
	return ev, nil
}
