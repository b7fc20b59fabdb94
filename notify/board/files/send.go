package files

import (
	"context"
	"errors"
	"fmt"
	"net/http"

	"telltale/engine/alarm"
	"telltale/engine/intake/table"
	"telltale/notify/board/frame"
	"telltale/rules/english"
)

// send stores a file, unless something is wrong with it by now.
func (s *site) send(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	if h == nil || h.mapped == nil {
		return nil, forgotten
	}
	h.mu.Lock() // pressed twice it is sent once
	defer h.mu.Unlock()
	d, m, err := s.read(ctx, r, h)
	if _, wrong := errors.AsType[table.Faults](err); wrong || m.Vehicles() {
		return &frame.Page{To: frame.Path("files", "dry", h.hash), Nothing: true}, nil
	}
	if err != nil {
		return nil, err
	}
	p := &frame.Page{To: frame.Path("files", "sent", h.hash), Nothing: true}
	if fresh := len(d.Fresh()); fresh > 0 || h.sent == nil {
		whole, cancel := context.WithTimeout(context.WithoutCancel(ctx), within) // also if whoever sent it leaves
		defer cancel()
		refused, err := d.Send(whole, s.at())
		if err != nil {
			s.Logger.Error("storing a file", "file", h.name, "mapping", h.named, "who", r.Viewer.ID, "error", err)
			return nil, &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordHalf, Words: wordHalfDo}
		}
		h.sent = &sent{fresh - len(refused), d.Before(), refused}
		s.Logger.Info("a file was sent", "file", h.name, "mapping", h.named, "hash", h.hash, "who", r.Viewer.ID, "stored", h.sent.stored, "refused", len(refused))
		p.Nothing, p.Noted = false, fmt.Sprintf(wordTook, h.name, hashOf(string(h.table))[:12], english.Plural(h.sent.stored, "event"), len(refused), h.named, hashOf(string(h.mapped))[:12])
	}
	return p, nil
}

// sent says what became of a file.
func (s *site) sent(_ context.Context, r *frame.Request) (*frame.Page, error) {
	h := s.kept(r)
	if h == nil {
		return nil, forgotten
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.sent == nil {
		return &frame.Page{To: frame.Path("files", "dry", h.hash)}, nil
	}
	data := struct {
		Hash    string
		Refused []alarm.Refusal
		More    int
	}{h.hash, h.sent.refused[:min(len(h.sent.refused), shownFaults)], max(0, len(h.sent.refused)-shownFaults)}
	p := page(h.name+" is stored", english.Sentences(english.Plural(h.sent.stored, "event")+" stored",
		english.Counted(h.sent.before, "was", "were")+" stored before", english.Counted(len(h.sent.refused), "was", "were")+" refused"))
	var err error
	p.Body, err = templates.Body("sent", data)
	return p, err
}
