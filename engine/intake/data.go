package intake

import (
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine"
	"telltale/rules/english"
	"telltale/rules/unit"
)

// decodeData reads and validates the data of an event whose head is decoded.
func decodeData(ev engine.Event, raw jsontext.Value) (any, error) {
	if ev.Kind == engine.TickEvent {
		if raw != nil {
			return nil, errors.New("data: a tick has none, leave it out")
		}
		return nil, nil
	}
	if raw == nil {
		return nil, errors.New("data: missing")
	}
	if ev.Kind == engine.ReadingEvent {
		if d := plainReading(raw); d != nil {
			return d, nil
		}
		return wholeReading(raw)
	}
	if err := checkTokens(raw); err != nil {
		return nil, err
	}
	switch ev.Kind {
	case engine.VehicleEvent:
		return unmarshal(raw, func(d *engine.VehicleData) error { return checkVehicle(ev, d) })
	case engine.MeterReplacedEvent:
		return unmarshal(raw, checkMeterReplaced)
	case engine.SampleEvent:
		return unmarshal(raw, func(d *engine.SampleData) error {
			if err := checkSample(ev, d); err != nil {
				return err
			}
			return readDecimals(raw, d)
		})
	case engine.ServiceEvent:
		return unmarshal(raw, checkService)
	case engine.AnswerEvent:
		return unmarshal(raw, func(d *engine.AnswerData) error { return checkAnswer(ev, d) })
	case engine.VoidEvent:
		return unmarshal(raw, func(d *engine.VoidData) error { return checkVoid(ev, d) })
	case engine.BookEvent:
		return unmarshal(raw, checkBook)
	case engine.TurnEvent:
		return unmarshal(raw, checkTurn)
	case engine.SurveyEvent:
		return unmarshal(raw, checkSurvey)
	case engine.BaselineEvent:
		return unmarshal(raw, checkBaseline)
	}
	return nil, fmt.Errorf("type: no data of a %s are known", ev.Kind)
}

// strict is made once, since the library keeps what it learns about types by it.
var strict = json.JoinOptions(
	json.RejectUnknownMembers(true),
	json.WithUnmarshalers(json.UnmarshalFromFunc(readQuantity)),
)

// unmarshal reads raw into a T and has it checked. Names are matched exactly and
// unknown ones refused.
func unmarshal[T any](raw jsontext.Value, check func(*T) error) (any, error) {
	d := new(T)
	if err := json.Unmarshal(raw, d, strict); err != nil {
		return nil, jsonFault(err, "data")
	}
	if err := check(d); err != nil {
		return nil, err
	}
	return d, nil
}

// readQuantity reads {"value": 4, "unit": "L"}, or an ISO 8601 duration as a text,
// which becomes hours.
func readQuantity(dec *jsontext.Decoder, q *unit.Quantity) error {
	switch k := dec.PeekKind(); k {
	case '"':
		tok, err := dec.ReadToken()
		if err != nil {
			return err
		}
		h, err := parseHours(tok.String())
		*q = unit.Quantity{Value: h, Unit: "h"}
		return err
	case '{':
		var w struct {
			Value *float64 `json:"value"`
			Unit  *string  `json:"unit"`
		}
		if err := json.UnmarshalDecode(dec, &w); err != nil {
			return err
		}
		if w.Value == nil || w.Unit == nil {
			return errors.New(`incomplete, wanted value and unit, like {"value":4,"unit":"L"}`)
		}
		*q = unit.Quantity{Value: *w.Value, Unit: *w.Unit}
		return nil
	default:
		return fmt.Errorf(`%s where a quantity is needed, like {"value":4,"unit":"L"}`, kindWord(k))
	}
}

// amount is the value of a reading: a number, or an ISO 8601 duration.
type amount struct {
	value float64
	hours bool // it was a duration, and value is in hours
}

func (a *amount) UnmarshalJSONFrom(dec *jsontext.Decoder) (err error) {
	if dec.PeekKind() != '"' {
		return json.UnmarshalDecode(dec, &a.value)
	}
	tok, err := dec.ReadToken()
	if err != nil {
		return err
	}
	a.hours = true
	a.value, err = parseHours(tok.String())
	return err
}

func wholeReading(raw jsontext.Value) (any, error) {
	if err := checkTokens(raw); err != nil {
		return nil, err
	}
	type reading struct {
		Meter string  `json:"meter"`
		Value *amount `json:"value"`
		Unit  string  `json:"unit"`
	}
	var d *engine.ReadingData
	_, err := unmarshal(raw, func(r *reading) error {
		switch {
		case r.Value == nil:
			return errors.New("data.value: missing")
		case r.Value.hours && r.Unit != "":
			return errors.New("data.unit: an ISO 8601 duration carries its own units, leave unit out")
		case r.Value.hours:
			r.Unit = "h"
		}
		d = &engine.ReadingData{Meter: r.Meter, Value: r.Value.value, Unit: r.Unit}
		return checkReading(d)
	})
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
			return fmt.Errorf("%s: null, leave the field out instead", path("data", dec.StackPointer()))
		case '"':
			if err := checkText(tok.String(), dec.StackPointer); err != nil {
				return fmt.Errorf("%s: %w", path("data", dec.StackPointer()), err)
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
	if err := atMost(s, limit); err != nil {
		return err
	}
	return checkRunes(s, allowed)
}

// jsonFault says in this package's words what the JSON library found; the
// library's own texts change from run to run, on purpose.
func jsonFault(err error, root string) error {
	var syn *jsontext.SyntacticError
	if errors.As(err, &syn) {
		return syntaxFault(syn, root)
	}
	var sem *json.SemanticError
	if !errors.As(err, &sem) {
		return err
	}
	at := path(root, sem.JSONPointer)
	switch {
	case errors.Is(sem.Err, json.ErrUnknownName):
		return fmt.Errorf("%s: unknown field, wanted %s", at, english.List("or", fieldNames(sem.GoType)))
	case sem.JSONKind == '0' && sem.JSONValue != nil && isNumeric(sem.GoType):
		return fmt.Errorf("%s: %s is not %s that can be kept", at, shorten(string(sem.JSONValue)), typeWord(sem.GoType))
	case sem.JSONKind != 0 && sem.GoType != nil:
		return fmt.Errorf("%s: %s where %s is needed", at, kindWord(sem.JSONKind), typeWord(sem.GoType))
	case sem.Err != nil:
		return fmt.Errorf("%s: %w", at, sem.Err)
	}
	return fmt.Errorf("%s: not readable", at)
}

func syntaxFault(syn *jsontext.SyntacticError, root string) error {
	switch {
	case errors.Is(syn.Err, jsontext.ErrDuplicateName):
		return fmt.Errorf("%s: stands twice", path(root, syn.JSONPointer))
	case errors.Is(syn.Err, io.ErrUnexpectedEOF):
		return errors.New("not JSON: it ends too early")
	case strings.HasPrefix(syn.Err.Error(), "invalid surrogate pair"): // goes on with the text after it
		return fmt.Errorf("not JSON: half a surrogate pair at byte %d", syn.ByteOffset)
	}
	return fmt.Errorf("not JSON: %s at byte %d", shorten(syn.Err.Error()), syn.ByteOffset)
}

// path writes a JSON pointer as people do: data.results[2].value.
func path(root string, p jsontext.Pointer) string {
	var b strings.Builder
	b.WriteString(root)
	for tok := range p.Tokens() {
		switch {
		case isNumber(tok):
			b.WriteString("[" + tok + "]")
		case strings.IndexFunc(tok, func(r rune) bool { return r > 0x7F || !plain(byte(r)) }) >= 0 || tok == "":
			b.WriteString("[" + quote(tok) + "]")
		default:
			b.WriteString("." + shorten(tok))
		}
	}
	return strings.TrimPrefix(b.String(), ".")
}

func kindWord(k jsontext.Kind) string {
	switch k {
	case 'n':
		return "null"
	case 't', 'f':
		return "true or false"
	case '"':
		return "a text"
	case '0':
		return "a number"
	case '{':
		return "an object"
	case '[':
		return "a list"
	}
	return "something that is no JSON"
}

func typeWord(t reflect.Type) string {
	switch t.Kind() {
	case reflect.Pointer:
		return typeWord(t.Elem())
	case reflect.Bool:
		return "true or false"
	case reflect.String:
		return "a text"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	case reflect.Slice:
		return "a list"
	}
	return "an object"
}

func isNumeric(t reflect.Type) bool {
	return t != nil && (t.Kind() == reflect.Int || t.Kind() == reflect.Float64)
}

// fieldNames lists the JSON names of a struct, for errors that name the cure.
func fieldNames(t reflect.Type) []string {
	if t == nil || t.Kind() != reflect.Struct {
		return nil
	}
	var out []string
	for i := range t.NumField() {
		if name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ","); name != "" && name != "-" {
			out = append(out, strconv.Quote(name))
		}
	}
	return out
}
