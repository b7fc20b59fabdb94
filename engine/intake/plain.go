package intake

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine/event"
)

// Nearly every event is a reading, and nearly every reading is written in the same
// way: this file reads that way alone, and knows its canonical form. Whatever else
// there is goes the way of all events, and comes out the same.

// plainReading reads {"meter": text, "value": number, "unit": text}, all of it
// printable ASCII without escapes; nil: it is something else, or faulty.
func plainReading(raw jsontext.Value) *event.ReadingData {
	r := newReader(raw)
	defer r.free()
	if tok, err := r.dec.ReadToken(); err != nil || tok.Kind() != '{' {
		return nil
	}
	var d event.ReadingData
	members := 0
	for ; r.dec.PeekKind() == '"'; members++ {
		name, err := r.dec.ReadValue()
		if err != nil {
			return nil
		}
		var text *string
		switch string(name) {
		case `"meter"`:
			text = &d.Meter
		case `"unit"`:
			text = &d.Unit
		case `"value"`:
		default:
			return nil
		}
		val, err := r.dec.ReadValue()
		switch {
		case err != nil:
			return nil
		case text != nil && plainText(val) && len(val) <= maxText:
			*text = string(val[1 : len(val)-1])
		case text == nil && val.Kind() == '0':
			if d.Value, err = strconv.ParseFloat(string(val), 64); err != nil {
				return nil
			}
		default:
			return nil
		}
	}
	if tok, err := r.dec.ReadToken(); err != nil || tok.Kind() != '}' || members != 3 {
		return nil
	}
	if _, err := r.dec.ReadToken(); !errors.Is(err, io.EOF) || checkReading(&d) != nil {
		return nil
	}
	return &d
}

// digest is the first 64 bits of the SHA-256 of the event as understood, in the
// canonical form of RFC 8785. What was dropped (extensions that mean nothing
// here) or is spelt otherwise (the offset of a time, a duration in ISO 8601) makes
// no difference, so that a repetition on another way is not taken for a conflict.
func digest(ev event.Event) (uint64, error) {
	if d, ok := plainDigest(ev); ok {
		return d, nil
	}
	return wholeDigest(ev)
}

func wholeDigest(ev event.Event) (uint64, error) {
	b, err := Encode(ev)
	if err != nil {
		return 0, err
	}
	v := jsontext.Value(b)
	if err := v.Canonicalize(); err != nil {
		return 0, fmt.Errorf("event %q of %q: %w", ev.ID.ID, ev.ID.Source, err)
	}
	sum := sha256.Sum256(v)
	return binary.BigEndian.Uint64(sum[:]), nil
}

// plainDigest is the digest of a reading or a tick whose texts are printable ASCII
// without quotes and backslashes: its canonical form is put down at once.
func plainDigest(ev event.Event) (uint64, bool) {
	d, isReading := ev.Data.(*event.ReadingData)
	if isReading && (d.ToppedUp != nil || d.Component != "") || !isReading && (ev.Kind != event.TickEvent || ev.Data != nil) {
		return 0, false
	}
	for _, s := range [...]string{ev.ID.Source, ev.ID.ID, ev.Vehicle} {
		if !plainASCII(s) {
			return 0, false
		}
	}
	var room [512]byte
	b := room[:0]
	text := func(before, s string) {
		b = append(b, before...)
		b = append(b, s...)
	}
	moment := func(t time.Time) bool {
		b = t.UTC().AppendFormat(b, time.RFC3339Nano)
		return t.UTC().Year() >= 1 && t.UTC().Year() <= 9999
	}
	b = append(b, '{')
	if isReading {
		if !plainASCII(d.Meter) || !plainASCII(d.Unit) || math.IsNaN(d.Value) || math.IsInf(d.Value, 0) {
			return 0, false
		}
		text(`"data":{"meter":"`, d.Meter)
		text(`","unit":"`, d.Unit)
		b = appendNumber(append(b, `","value":`...), d.Value)
		b = append(b, `},`...)
	}
	text(`"id":"`, ev.ID.ID)
	b = append(b, `",`...)
	valid := true
	if !ev.Recorded.IsZero() && !ev.Recorded.Equal(ev.Time) {
		b = append(b, `"recordedtime":"`...)
		valid = moment(ev.Recorded)
		b = append(b, `",`...)
	}
	text(`"source":"`, ev.ID.Source)
	b = append(b, `","specversion":"1.0",`...)
	if ev.Vehicle != "" {
		text(`"subject":"`, ev.Vehicle)
		b = append(b, `",`...)
	}
	b = append(b, `"time":"`...)
	valid = moment(ev.Time) && valid
	text(`","type":"telltale.`, ev.Kind.String())
	b = append(b, `.v1"}`...)
	sum := sha256.Sum256(b)
	return binary.BigEndian.Uint64(sum[:]), valid
}

func plainASCII[T string | []byte](s T) bool {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c >= 0x7F || c == '"' || c == '\\' {
			return false
		}
	}
	return true
}

// appendNumber writes a finite number as RFC 8785 has it: the shortest digits that
// give it back, as ECMAScript writes them.
func appendNumber(b []byte, v float64) []byte {
	if v == 0 {
		return append(b, '0') // also for minus zero
	}
	if a := math.Abs(v); a >= 1e-6 && a < 1e21 {
		return strconv.AppendFloat(b, v, 'f', -1, 64)
	}
	b = strconv.AppendFloat(b, v, 'e', -1, 64)
	if n := len(b); b[n-2] == '0' && (b[n-3] == '-' || b[n-3] == '+') { // 1e-09 is written 1e-9
		b[n-2] = b[n-1]
		b = b[:n-1]
	}
	return b
}
