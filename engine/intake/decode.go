package intake

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
	"telltale/engine/record"
	"telltale/rules/unit"
)

// MaxBytes is the most that one event may be long.
const MaxBytes = 64 << 10

// maxSet is the most that a baseline event with its set may be long.
const maxSet = 16 << 20

// limitOf is the most that an event may be long which begins like b: only the
// service's own baselines, in a file, and merges are longer than any event from outside.
func limitOf(b []byte) int {
	begin := b[:min(len(b), 256)]
	if bytes.Contains(begin, []byte(`"telltale.baseline.v1"`)) || bytes.Contains(begin, []byte(`"telltale.merge.v1"`)) {
		return maxSet
	}
	return MaxBytes
}

// readMerge reads a record as it is stored: its texts were checked as they came in.
func readMerge(_ event.Event, raw jsontext.Value) (any, error) {
	d := &record.MergeData{}
	if err := json.Unmarshal(raw, d); err != nil {
		return nil, jsonFault(err, "data")
	}
	if d.From == "" || d.Into == "" {
		return nil, refuse("data", "a merge needs from and into")
	}
	return d, nil
}

// Renamed is an event that is handed over under another name, complete: its digest is of
// what it says now.
func Renamed(ev event.Event) event.Event {
	if d, err := digest(ev); err == nil {
		ev.Digest = d
	}
	return ev
}

func tooLong(b []byte, most int) error {
	if len(b) <= most {
		return nil
	}
	return fmt.Errorf("%d bytes long; the limit for an event is %d", len(b), most)
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

// InFuture refuses an event that says of itself that it happened, or was reported,
// more than 24 h later than it was stored. A file has no time of storing.
func InFuture(ev event.Event, stored time.Time) error {
	limit := stored.Add(day)
	at, t := "time", ev.Time
	if !t.After(limit) {
		at, t = "recordedtime", ev.Recorded
	}
	if !t.After(limit) {
		return nil
	}
	return &Fault{at, fmt.Sprintf("%s is more than 24 h later than it was stored (%s)", t.UTC().Format(time.RFC3339), stored.UTC().Format(time.RFC3339)), event.InTheFuture}
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
	return 0, refuse("type", "%s is not known; expected one of %s", quote(typ), strings.Join(typeNames(), ", "))
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
		return refuse("time", "missing; say when it was observed, for example 2031-02-10T14:00:00Z")
	case ev.Kind.Internal() && ev.Vehicle != "":
		return refuse("subject", "a %s belongs to no vehicle; leave it out", ev.Kind)
	case !ev.Kind.Internal() && ev.Vehicle == "":
		return refuse("subject", "missing; name the vehicle")
	case !ev.Kind.Internal():
		return checkName("subject", ev.Vehicle)
	}
	return nil
}

// form is what is particular to a kind of event.
type form struct {
	read   func(event.Event, jsontext.Value) (any, error) // reads and checks its data
	fields []Field                                        // of its data, if it comes from outside
	short  string                                         // its word in the short form
	words  func(*shortReader, *event.Event)               // reads what follows that and the vehicle
}

// forms has a form for every kind there is.
var forms = [...]form{
	event.VehicleEvent:       {dataOf(checkVehicle), vehicleFields, "vehicle", (*shortReader).vehicle},
	event.MeterReplacedEvent: {dataOf(checkMeterReplaced), replacedFields, "replaced", (*shortReader).replaced},
	event.ReadingEvent:       {readReading, readingFields, "reading", (*shortReader).reading},
	event.SampleEvent:        {readSample, sampleFields, "sample", (*shortReader).sample},
	event.ServiceEvent:       {dataOf(checkService), serviceFields, "service", (*shortReader).service},
	event.AnswerEvent:        {dataOf(checkAnswer), answerFields, "answer", (*shortReader).answer},
	event.VoidEvent:          {dataOf(checkVoid), voidFields, "void", (*shortReader).void},
	event.TickEvent:          {read: readTick, short: "tick"},
	event.BookEvent:          {read: dataOf(checkBook)},
	event.TurnEvent:          {read: dataOf(checkTurn)},
	event.SurveyEvent:        {read: dataOf(checkSurvey)},
	event.BaselineEvent:      {read: dataOf(checkBaseline)},
	event.MergeEvent:         {read: readMerge},
}

// dataOf reads data as a T, of which names are matched exactly and unknown ones
// refused, and has it checked.
func dataOf[T any](check func(event.Event, *T) error) func(event.Event, jsontext.Value) (any, error) {
	return func(ev event.Event, raw jsontext.Value) (any, error) {
		if raw == nil {
			return nil, refuse("data", "missing")
		}
		if err := checkTokens(raw); err != nil {
			return nil, err
		}
		d := new(T)
		if err := json.Unmarshal(raw, d, strict); err != nil {
			return nil, jsonFault(err, "data")
		}
		if err := check(ev, d); err != nil {
			return nil, err
		}
		return d, nil
	}
}

func readTick(_ event.Event, raw jsontext.Value) (any, error) {
	if raw != nil {
		return nil, refuse("data", "a tick has none; leave it out")
	}
	return nil, nil
}

// strict is made once, since the library keeps what it learns about types by it.
var strict = json.JoinOptions(
	json.RejectUnknownMembers(true),
	json.WithUnmarshalers(json.UnmarshalFromFunc(readQuantity)),
)

func readReading(_ event.Event, raw jsontext.Value) (any, error) {
	if d := plainReading(raw); d != nil {
		return d, nil
	}
	return wholeReading(raw)
}

func wholeReading(raw jsontext.Value) (any, error) {
	type reading struct {
		Meter string  `json:"meter"`
		Value *amount `json:"value"`
		Unit  string  `json:"unit"`

		ToppedUp  *unit.Quantity `json:"toppedUp"`
		Component string         `json:"component"`
	}
	var d *event.ReadingData
	_, err := dataOf(func(_ event.Event, r *reading) error {
		switch {
		case r.Value == nil:
			return refuse("data.value", "missing")
		case r.Value.hours && r.Unit != "":
			return refuse("data.unit", "an ISO 8601 duration carries its own units; leave unit out")
		case r.Value.hours:
			r.Unit = "h"
		}
		d = &event.ReadingData{Meter: r.Meter, Value: r.Value.value, Unit: r.Unit, ToppedUp: r.ToppedUp, Component: r.Component}
		return checkReading(d)
	})(event.Event{}, raw)
	if err != nil {
		return nil, err
	}
	return d, nil
}

// checkTokens looks at what no Go type can: null, which would pass for zero, and
// what texts contain and how long they are.
func checkTokens(raw jsontext.Value) error {
	r := newReader(raw)
	defer r.free()
	dec := &r.dec
	for {
		tok, err := dec.ReadToken()
		if errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return jsonFault(err, "data")
		}
		switch tok.Kind() {
		case 'n':
			return refuse(path("data", dec.StackPointer()), "null; leave the field out instead")
		case '"':
			if err := checkText(tok.String(), dec.StackPointer); err != nil {
				return within(path("data", dec.StackPointer()), err)
			}
		}
	}
}

// Notes are the one long text; they and reasons may have several lines.
const maxNote = 8 << 10

func checkText(s string, where func() jsontext.Pointer) error {
	if len(s) <= maxText && checkRunes(s, "") == nil {
		return nil
	}
	limit, allowed := maxText, ""
	switch where() {
	case "/note":
		limit, allowed = maxNote, "\n\r\t"
	case "/why":
		allowed = "\n\r\t"
	}
	return first(atMost(s, limit), checkRunes(s, allowed))
}
