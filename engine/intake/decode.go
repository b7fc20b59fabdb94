package intake

import (
	"bytes"
	"fmt"
	"strings"

	"telltale/engine/event"
)

// MaxBytes is the most that one event may be long.
const MaxBytes = 64 << 10

// maxSet is the most that a baseline event with its set may be long.
const maxSet = 16 << 20

// limitOf is the most that an event may be long which begins like b: only the
// service's own baselines, in a file, are longer than any event from outside.
func limitOf(b []byte) int {
	if bytes.Contains(b[:min(len(b), 256)], []byte(`"telltale.baseline.v1"`)) {
		return maxSet
	}
	return MaxBytes
}

func tooLong(b []byte, most int) error {
	if len(b) <= most {
		return nil
	}
	return fmt.Errorf("%d bytes long, an event has at most %d", len(b), most)
}

// Decode reads one event. On an error the event returned holds what could be
// read before it (identity, kind, vehicle, times), for the list of refusals.
//
// Ticks and other internal kinds are decoded too, since a file may hold them;
// what comes from outside goes through DecodeMessage.
func Decode(b []byte) (event.Event, error) {
	env, err := decodeEnvelope(b)
	ev := event.Event{
		ID:      event.ID{Source: env.source, ID: env.id},
		Vehicle: env.subject, Time: env.time, Recorded: env.recorded,
	}
	if err != nil {
		return ev, err
	}
	if ev.Kind, err = kindOf(env.typ); err != nil {
		return ev, err
	}
	if err := checkHead(ev); err != nil {
		return ev, err
	}
	if ev.Recorded.IsZero() {
		ev.Recorded = ev.Time
	}
	data, err := forms[ev.Kind].read(ev, env.data)
	if err != nil {
		return ev, err
	}
	ev.Data = data
	ev.Digest, err = digest(ev)
	return ev, err
}

// Checked takes an event that was made here, of a register or of what somebody typed,
// through its own text, so that it is checked, and hashed, as one that came in.
func Checked(ev event.Event) (event.Event, error) {
	text, err := Encode(ev)
	if err != nil {
		return event.Event{}, err
	}
	return Decode(text)
}

// kindOf returns the kind in a type like "telltale.reading.v1".
func kindOf(typ string) (event.Kind, error) {
	k, ok := event.KindOf(strings.TrimSuffix(strings.TrimPrefix(typ, "telltale."), ".v1"))
	if ok && typ == typeOf(k) {
		return k, nil
	}
	return 0, refuse("type", "%s is not known, wanted one of %s", quote(typ), strings.Join(typeNames(), ", "))
}

func typeOf(k event.Kind) string { return "telltale." + k.String() + ".v1" }

// typeNames lists the types that may come from outside.
func typeNames() []string {
	var out []string
	for k := event.VehicleEvent; !k.Internal(); k++ {
		out = append(out, typeOf(k))
	}
	return out
}

// checkHead asks for the attributes that CloudEvents leaves to choice and the
// fold needs.
func checkHead(ev event.Event) error {
	switch {
	case ev.Time.IsZero():
		return refuse("time", "missing, say when it was observed, like 2031-02-10T14:00:00Z")
	case ev.Kind.Internal() && ev.Vehicle != "":
		return refuse("subject", "a %s is of no vehicle, leave it out", ev.Kind)
	case !ev.Kind.Internal() && ev.Vehicle == "":
		return refuse("subject", "missing, name the vehicle")
	case !ev.Kind.Internal():
		return checkName("subject", ev.Vehicle)
	}
	return nil
}
