package intake

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"telltale/engine"
)

// Encode writes an event as Decode reads it, on one line without a line end. Keys
// stand in the order of the reference; times are in UTC; recordedtime stands only
// where it differs from time. It does not validate.
func Encode(ev engine.Event) ([]byte, error) {
	e := struct {
		Specversion string     `json:"specversion"`
		Type        string     `json:"type"`
		Source      string     `json:"source"`
		ID          string     `json:"id"`
		Subject     string     `json:"subject,omitempty"`
		Time        time.Time  `json:"time"`
		Recorded    *time.Time `json:"recordedtime,omitempty"`
		Data        any        `json:"data,omitempty"`
	}{
		Specversion: "1.0", Type: typeOf(ev.Kind), Source: ev.ID.Source, ID: ev.ID.ID,
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

// digest is the first 64 bits of the SHA-256 of the event as understood, in the
// canonical form of RFC 8785. What was dropped (extensions that mean nothing
// here) or is spelt otherwise (the offset of a time, a duration in ISO 8601) makes
// no difference, so that a repetition on another way is not taken for a conflict.
func digest(ev engine.Event) (uint64, error) {
	if d, ok := plainDigest(ev); ok {
		return d, nil
	}
	return wholeDigest(ev)
}

func wholeDigest(ev engine.Event) (uint64, error) {
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
