package intake

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
)

// envelope is the CloudEvents part of an event: its attributes as the
// specification types them, and its data unread. Times are in UTC.
type envelope struct {
	version, id, source, typ, subject string
	time, recorded                    time.Time
	data                              jsontext.Value // nil where absent
}

// decodeEnvelope reads the attributes by CloudEvents 1.0 and its JSON format, in
// which null stands for "not set". Extensions other than recordedtime are checked
// and dropped. All that could be read is returned with an error, too.
func decodeEnvelope(b []byte) (envelope, error) {
	var env envelope
	if err := tooLong(b, limitOf(b)); err != nil {
		return env, err
	}
	r := newReader(b)
	defer r.free()
	dec := &r.dec
	if k := dec.PeekKind(); k != '{' {
		return env, notAnObject(dec, k)
	}
	fault, err := env.read(dec)
	if err != nil {
		return env, err
	}
	if _, err := dec.ReadToken(); !errors.Is(err, io.EOF) {
		return env, fmt.Errorf("more text after the event at byte %d; expected one event alone", dec.InputOffset())
	}
	if fault != nil {
		return env, fault
	}
	return env, env.complete()
}

func notAnObject(dec *jsontext.Decoder, k jsontext.Kind) error {
	if _, err := dec.ReadToken(); errors.Is(err, io.EOF) {
		return errors.New("empty; expected one CloudEvent as a JSON object")
	} else if err != nil {
		return jsonFault(err, "")
	}
	return fmt.Errorf("%s where one CloudEvent as a JSON object is expected", kindWord(k))
}

// read takes in all members of the event's object. A faulty attribute (fault, the
// first one) does not keep it from the others, so that a refusal can still name
// the event; broken JSON (err) does.
func (e *envelope) read(dec *jsontext.Decoder) (fault, err error) {
	if _, err := dec.ReadToken(); err != nil { // {
		return nil, jsonFault(err, "")
	}
	for dec.PeekKind() != '}' {
		name, err := dec.ReadValue()
		if err != nil {
			return nil, jsonFault(err, "")
		}
		key := attributeName(name) // before the next read, which takes the name's bytes
		val, err := dec.ReadValue()
		if err != nil {
			return nil, jsonFault(err, "")
		}
		if err := e.member(key, val); err != nil && fault == nil {
			fault = err
		}
	}
	_, err = dec.ReadToken() // }
	return fault, err
}

// attributeName is the text of a member's name; that of an attribute is the one
// that there is, not a copy.
func attributeName(quoted jsontext.Value) string {
	for _, known := range attributeNames {
		if len(quoted) == len(known)+2 && string(quoted[1:len(quoted)-1]) == known {
			return known
		}
	}
	b, _ := jsontext.AppendUnquote(nil, quoted) // it was just read as a text
	return string(b)
}

func (e *envelope) member(name string, val jsontext.Value) error {
	switch {
	case name == "data":
		e.data = val // of the event's own bytes
		return nil
	case name == "data_base64":
		return refuse("data_base64", "not supported; put a JSON object under data")
	case attributes[name] == nil && !isAttributeName(name):
		return fmt.Errorf("%s: not an attribute's name; expected a to z and 0 to 9, at most 20 of them", quote(name))
	case val.Kind() == 'n':
		return nil
	}
	set := attributes[name]
	if set == nil {
		return checkExtension(name, val)
	}
	s, err := attributeText(name, val)
	if err != nil {
		return err
	}
	return within(name, set(e, s))
}

// The longest values, in bytes. Source and id together become a NATS header.
const (
	maxID   = 256
	maxText = 1 << 10
)

// attributes are those that have a meaning here, each with what checks and sets it.
var attributes = map[string]func(*envelope, string) error{
	"specversion":     func(e *envelope, s string) error { e.version = s; return oneOf(s, SpecVersion) },
	"id":              func(e *envelope, s string) error { e.id = clip(s, maxID); return atMost(s, maxID) },
	"source":          func(e *envelope, s string) error { e.source = clip(s, maxID); return checkSource(s) },
	"type":            func(e *envelope, s string) error { e.typ = s; return atMost(s, maxText) },
	"subject":         func(e *envelope, s string) error { e.subject = clip(s, maxName); return atMost(s, maxName) },
	"time":            func(e *envelope, s string) (err error) { e.time, err = parseTime(s); return err },
	"recordedtime":    func(e *envelope, s string) (err error) { e.recorded, err = parseTime(s); return err },
	"datacontenttype": func(_ *envelope, s string) error { return checkContentType(s) },
	"dataschema":      func(_ *envelope, s string) error { return checkSchema(s) },
}

// attributeNames are the names of attributes and of the data.
var attributeNames = append(slices.Sorted(maps.Keys(attributes)), "data")

// reader is a JSON decoder that is used again and reads from the event's own bytes.
type reader struct {
	dec jsontext.Decoder
	buf bytes.Buffer
}

var readers = sync.Pool{New: func() any { return new(reader) }}

func newReader(b []byte) *reader {
	r := readers.Get().(*reader)
	r.buf = *bytes.NewBuffer(b)
	r.dec.Reset(&r.buf)
	return r
}

func (r *reader) free() { readers.Put(r) }

// complete asks for what CloudEvents requires.
func (e *envelope) complete() error {
	for _, a := range []struct{ name, value string }{
		{"specversion", e.version}, {"id", e.id}, {"source", e.source}, {"type", e.typ},
	} {
		if a.value == "" {
			return refuse(a.name, "missing; every CloudEvent has one")
		}
	}
	return nil
}

// SpecVersion is the version of CloudEvents that is read and written.
const SpecVersion = "1.0"

// CloudEvent is an event as CloudEvents 1.0 writes it in structured JSON: what comes
// in, and what is told to programs.
type CloudEvent struct {
	SpecVersion string     `json:"specversion"`
	Type        string     `json:"type"`
	Source      string     `json:"source"`
	ID          string     `json:"id"`
	Subject     string     `json:"subject,omitempty"`
	Time        time.Time  `json:"time"` // in UTC
	Recorded    *time.Time `json:"recordedtime,omitempty"`
	ContentType string     `json:"datacontenttype,omitempty"`
	Data        any        `json:"data,omitempty"`
}

// Encode writes an event as Decode reads it, on one line without a line end. Keys
// stand in the order of the reference; times are in UTC; recordedtime stands only
// where it differs from time. It does not validate.
func Encode(ev event.Event) ([]byte, error) {
	e := CloudEvent{
		SpecVersion: SpecVersion, Type: typeOf(ev.Kind), Source: ev.ID.Source, ID: ev.ID.ID,
		Subject: ev.Vehicle, Time: ev.Time.UTC(), Data: ev.Data,
	}
	if !ev.Recorded.IsZero() && !ev.Recorded.Equal(ev.Time) {
		r := ev.Recorded.UTC()
		e.Recorded = &r
	}
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(e); err != nil {
		return nil, fmt.Errorf("encoding event %q of %q: %w", ev.ID.ID, ev.ID.Source, err)
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}
