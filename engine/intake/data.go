package intake

import (
	"errors"
	"io"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine"
)

// form is what is particular to a kind of event.
type form struct {
	read   func(engine.Event, jsontext.Value) (any, error) // reads and checks its data
	fields []Field                                         // of its data, if it comes from outside
	short  string                                          // its word in the short form
	words  func(*shortReader, *engine.Event)               // reads what follows that and the vehicle
}

// forms has a form for every kind there is.
var forms = [...]form{
	engine.VehicleEvent:       {dataOf(checkVehicle), vehicleFields, "vehicle", (*shortReader).vehicle},
	engine.MeterReplacedEvent: {dataOf(checkMeterReplaced), replacedFields, "replaced", (*shortReader).replaced},
	engine.ReadingEvent:       {readReading, readingFields, "reading", (*shortReader).reading},
	engine.SampleEvent:        {readSample, sampleFields, "sample", (*shortReader).sample},
	engine.ServiceEvent:       {dataOf(checkService), serviceFields, "service", (*shortReader).service},
	engine.AnswerEvent:        {dataOf(checkAnswer), answerFields, "answer", (*shortReader).answer},
	engine.VoidEvent:          {dataOf(checkVoid), voidFields, "void", (*shortReader).void},
	engine.TickEvent:          {read: readTick, short: "tick"},
	engine.BookEvent:          {read: dataOf(checkBook)},
	engine.TurnEvent:          {read: dataOf(checkTurn)},
	engine.SurveyEvent:        {read: dataOf(checkSurvey)},
	engine.BaselineEvent:      {read: dataOf(checkBaseline)},
}

// dataOf reads data as a T, of which names are matched exactly and unknown ones
// refused, and has it checked.
func dataOf[T any](check func(engine.Event, *T) error) func(engine.Event, jsontext.Value) (any, error) {
	return func(ev engine.Event, raw jsontext.Value) (any, error) {
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

func readTick(_ engine.Event, raw jsontext.Value) (any, error) {
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

func readReading(_ engine.Event, raw jsontext.Value) (any, error) {
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
	var d *engine.ReadingData
	_, err := dataOf(func(_ engine.Event, r *reading) error {
		switch {
		case r.Value == nil:
			return refuse("data.value", "missing")
		case r.Value.hours && r.Unit != "":
			return refuse("data.unit", "an ISO 8601 duration carries its own units, leave unit out")
		case r.Value.hours:
			r.Unit = "h"
		}
		d = &engine.ReadingData{Meter: r.Meter, Value: r.Value.value, Unit: r.Unit}
		return checkReading(d)
	})(engine.Event{}, raw)
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
