package intake

import (
	"errors"
	"io"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
)

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
		return nil, refuse("data", "a tick has none, leave it out")
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
	}
	var d *event.ReadingData
	_, err := dataOf(func(_ event.Event, r *reading) error {
		switch {
		case r.Value == nil:
			return refuse("data.value", "missing")
		case r.Value.hours && r.Unit != "":
			return refuse("data.unit", "an ISO 8601 duration carries its own units, leave unit out")
		case r.Value.hours:
			r.Unit = "h"
		}
		d = &event.ReadingData{Meter: r.Meter, Value: r.Value.value, Unit: r.Unit}
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
			return refuse(path("data", dec.StackPointer()), "null, leave the field out instead")
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
