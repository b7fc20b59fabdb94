// Package post takes events over HTTP from programs with a token: CloudEvents, one
// (application/cloudevents+json) or several (application/cloudevents-batch+json), posted
// with `Authorization: Bearer`. What it says is stored is on the disk.
//
// A request counts by its token alone, which no browser sends by itself, and no cookie is
// looked at. So a page of elsewhere can do nothing here in a visitor's name.
package post

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"io"
	"log/slog"
	"mime"
	"net/http"
	"strings"
	"time"

	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
	"telltale/notify/board/limits"
	"telltale/notify/programs/gate"
)

// Path is where events are posted.
const Path = "/events"

const (
	// maxEvents bounds a batch.
	maxEvents = 500
	// maxBody bounds it in bytes: ASVS 5.0.0, 5.2.1.
	maxBody = 8 << 20
	// storeWithin is how long an event is waited for until it is on the disk.
	storeWithin = 10 * time.Second
)

const (
	oneEvent = "application/cloudevents+json"
	batch    = "application/cloudevents-batch+json"
)

// Handler takes events.
type Handler struct {
	Gate    *gate.Gate
	Log     *stream.Log
	Service *service.Service
	Logger  *slog.Logger
	// Proxies are in front of it, and say for whom they ask.
	Proxies limits.Proxies
}

// Beside answers what is posted to [Path], and has next answer all else.
func (h *Handler) Beside(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == Path && r.Method != http.MethodGet && r.Method != http.MethodHead {
			h.ServeHTTP(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// Answer is what became of one event.
type Answer struct {
	Source string `json:"source,omitempty"`
	ID     string `json:"id,omitempty"`
	// Status is 202 for one that is stored, 403 for one that the program may not send, 422 for
	// one that cannot be used, 503 for one that is to be sent again.
	Status int `json:"status"`
	// Seq is where it lies in the log, and Duplicate says that it lay there before.
	Seq       uint64 `json:"seq,omitempty"`
	Duplicate bool   `json:"duplicate,omitempty"`
	// Reason is why it is not stored.
	Reason string `json:"reason,omitempty"`
}

// ServeHTTP implements [http.Handler].
func (h *Handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-store")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", "POST")
		refuse(w, http.StatusMethodNotAllowed, "events are sent by POST")
		return
	}
	scheme, token, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	from := h.Proxies.From(r).String()
	p := h.Gate.ByToken(token, from)
	if p == nil || !strings.EqualFold(scheme, "Bearer") {
		w.Header().Set("WWW-Authenticate", `Bearer realm="telltale"`) // RFC 6750, 3
		refuse(w, http.StatusUnauthorized, "no program has this token; telltale programs add --token makes one")
		return
	}
	raw, status, why := read(w, r)
	if status != 0 {
		refuse(w, status, why)
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), storeWithin)
	defer cancel()
	answers := h.take(ctx, p, raw, from)
	status = http.StatusAccepted
	for _, a := range answers { // the worst; one that is to be sent again before all
		status = max(status, a.Status)
	}
	respond(w, status, struct {
		Events []Answer `json:"events"`
	}{answers})
}

// read reads the events as they came, not decoded; status is not 0 where it cannot.
func read(w http.ResponseWriter, r *http.Request) (raw [][]byte, status int, why string) {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || kind != oneEvent && kind != batch {
		return nil, http.StatusUnsupportedMediaType, "wanted Content-Type " + oneEvent + " or " + batch
	}
	most := int64(maxBody)
	if kind == oneEvent {
		most = intake.MaxBytes
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most))
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		return nil, http.StatusRequestEntityTooLarge, "too long: one event may have 64 KiB, a batch 8 MiB"
	}
	if err != nil {
		return nil, http.StatusBadRequest, "the request could not be read"
	}
	if kind == oneEvent {
		return [][]byte{body}, 0, ""
	}
	return split(body)
}

// split are the events of a batch. It ends at the first that is too many: millions of them fit
// into what a batch may have.
func split(body []byte) (raw [][]byte, status int, why string) {
	const few, none = "a batch has from 1 to 500 events", "a batch is a JSON array of events"
	dec := json.NewDecoder(bytes.NewReader(body))
	if t, err := dec.Token(); err != nil || t != json.Delim('[') {
		return nil, http.StatusBadRequest, none
	}
	for dec.More() {
		var e json.RawMessage
		if err := dec.Decode(&e); err != nil {
			return nil, http.StatusBadRequest, none
		}
		if raw = append(raw, e); len(raw) > maxEvents {
			return nil, http.StatusRequestEntityTooLarge, few
		}
	}
	if _, err := dec.Token(); err != nil { // the end of the array
		return nil, http.StatusBadRequest, none
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, http.StatusBadRequest, none
	}
	if len(raw) == 0 {
		return nil, http.StatusRequestEntityTooLarge, few
	}
	return raw, 0, ""
}

func refuse(w http.ResponseWriter, status int, why string) {
	respond(w, status, struct {
		Reason string `json:"reason"`
	}{why})
}

func respond(w http.ResponseWriter, status int, v any) {
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	w.WriteHeader(status)
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // who left hears nothing
}

// sentBy refuses sources that are others': people's and tablets', which the board makes, and
// the service's own.
func sentBy(source string) (whose string) {
	for prefix, is := range map[string]string{"/people/": "a person", "/devices/": "a tablet", "/telltale": "the service"} {
		if strings.HasPrefix(source, prefix) {
			return is
		}
	}
	return ""
}

// reason is an error as an answer says it.
func reason(err error) string { return cmp.Or(err.Error(), "refused") }
