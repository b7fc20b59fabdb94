package intake

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"reflect"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
	"telltale/rules/english"
)

// Fault is why an event is refused: what is wrong, and where in it.
type Fault struct {
	// At is the attribute, or the field of the data, as data.results[2].unit; "" where
	// it is the event as a whole.
	At    string
	Text  string
	Class event.RefusalClass // Forged or InTheFuture; "" for all others
}

// ClassOf is the class of the refusal that an error of this package makes; "" of none.
func ClassOf(err error) event.RefusalClass {
	if err == nil {
		return ""
	}
	if f, ok := errors.AsType[*Fault](err); ok && f.Class != "" {
		return f.Class
	}
	return event.Malformed
}

// Error gives the place and what is wrong there.
func (f *Fault) Error() string {
	if f.At == "" {
		return f.Text
	}
	return f.At + ": " + f.Text
}

// within is the error with the place that it is of; nil where it is nil.
func within(at string, err error) error {
	if err == nil {
		return nil
	}
	return refuse(at, "%v", err)
}

func refuse(at, format string, args ...any) error {
	return &Fault{At: at, Text: fmt.Sprintf(format, args...)}
}

// jsonFault says in this package's words what the JSON library found; the
// library's own texts change from run to run, on purpose.
func jsonFault(err error, root string) error {
	if syn, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		return syntaxFault(syn, root)
	}
	sem, ok := errors.AsType[*json.SemanticError](err)
	if !ok {
		return err
	}
	at := path(root, sem.JSONPointer)
	switch {
	case errors.Is(sem.Err, json.ErrUnknownName):
		return refuse(at, "unknown field; expected %s", english.List("or", fieldNames(sem.GoType)))
	case sem.JSONKind == '0' && sem.JSONValue != nil && isNumeric(sem.GoType):
		return refuse(at, "%s is not %s that can be kept", shorten(string(sem.JSONValue)), typeWord(sem.GoType))
	case sem.JSONKind != 0 && sem.GoType != nil:
		return refuse(at, "%s where %s is expected", kindWord(sem.JSONKind), typeWord(sem.GoType))
	case sem.Err != nil:
		return within(at, sem.Err)
	}
	return refuse(at, "cannot be read")
}

func syntaxFault(syn *jsontext.SyntacticError, root string) error {
	switch {
	case errors.Is(syn.Err, jsontext.ErrDuplicateName):
		return refuse(path(root, syn.JSONPointer), "appears twice")
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

var kindWords = map[jsontext.Kind]string{
	'n': "null", 't': "true or false", 'f': "true or false", '"': "a text", '0': "a number", '{': "an object", '[': "a list",
}

func kindWord(k jsontext.Kind) string { return cmp.Or(kindWords[k], "something that is not JSON") }

var typeWords = map[reflect.Kind]string{
	reflect.Bool: "true or false", reflect.String: "a text", reflect.Int: "a whole number", reflect.Float64: "a number", reflect.Slice: "a list",
}

func typeWord(t reflect.Type) string {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	return cmp.Or(typeWords[t.Kind()], "an object")
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
