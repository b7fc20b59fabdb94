package post

import (
	"context"
	"crypto/sha256"
	"fmt"
	"net/http"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/notify"
	"telltale/notify/people"
	"telltale/notify/programs"
)

// take stores what may be stored of some events, and answers each.
func (h *Handler) take(ctx context.Context, p *people.Program, raw [][]byte, from string) []Answer {
	answers, waiting := make([]Answer, len(raw)), make([]jetstream.PubAckFuture, len(raw))
	js, err := jetstream.New(h.Log.Conn)
	for i, text := range raw {
		if err != nil {
			answers[i] = h.again(Answer{}, err)
			continue
		}
		answers[i], waiting[i] = h.send(ctx, js, p, text, from)
	}
	for i, w := range waiting {
		if w == nil {
			continue
		}
		select {
		case ack := <-w.Ok():
			answers[i].Status, answers[i].Seq, answers[i].Duplicate = http.StatusAccepted, ack.Sequence, ack.Duplicate
		case err := <-w.Err():
			answers[i] = h.again(answers[i], err)
		case <-ctx.Done():
			answers[i] = h.again(answers[i], ctx.Err())
		}
	}
	return answers
}

// again answers that an event is to be sent again; why is for the log.
func (h *Handler) again(a Answer, err error) Answer {
	h.Logger.Warn("an event could not be stored; whoever sent it was told to send it again", "source", a.Source, "id", a.ID, "error", err)
	a.Status, a.Reason = http.StatusServiceUnavailable, "not stored; send it again"
	return a
}

// send publishes one event, if it may be; the future is nil where it is answered already.
func (h *Handler) send(ctx context.Context, js jetstream.JetStream, p *people.Program, text []byte, from string) (Answer, jetstream.PubAckFuture) {
	if len(text) > intake.MaxBytes {
		return Answer{Status: http.StatusUnprocessableEntity, Reason: "too long: one event may have 64 KiB"}, nil
	}
	ev, err := intake.Decode(text)
	a := Answer{Source: ev.ID.Source, ID: ev.ID.ID}
	if err != nil {
		a.Status, a.Reason = http.StatusUnprocessableEntity, reason(err)
		return a, nil
	}
	why, err := h.mayNot(ctx, p, &ev)
	switch {
	case err != nil:
		return h.again(a, err), nil
	case why != "":
		h.Gate.Refused(p, time.Now(), intake.Subject(ev), why, from)
		a.Status, a.Reason = http.StatusForbidden, why
		return a, nil
	}
	m, err := message(ev)
	if err != nil {
		a.Status, a.Reason = http.StatusUnprocessableEntity, reason(err)
		return a, nil
	}
	w, err := js.PublishMsgAsync(m)
	if err != nil {
		return h.again(a, err), nil
	}
	return a, w
}

// mayNot says why the program may not send the event; "" where it may.
func (h *Handler) mayNot(ctx context.Context, p *people.Program, ev *event.Event) (why string, err error) {
	if is := sentBy(ev.ID.Source); is != "" {
		return fmt.Sprintf("source %q is that of %s", ev.ID.Source, is), nil
	}
	subject := intake.Subject(*ev)
	v, err := h.Service.RegisteredAs(ctx, ev.Vehicle)
	if err != nil {
		return "", err
	}
	var known []programs.Vehicle
	who := people.Vehicle{ID: ev.Vehicle, Name: ev.Vehicle}
	if v.VehicleData != nil {
		who = notify.VehicleOf(v.Vehicle, v.VehicleData)
		known = []programs.Vehicle{{Vehicle: who, Names: []string{ev.Vehicle}}}
	}
	if !ev.Kind.Internal() && p.MaySend(ev.Kind.String(), who) && (p.Where == "" || known != nil) {
		return "", nil
	}
	return programs.Why(p, subject, false, known), nil
}

// message is an event as it is published. It is named by what it says as well: one that was
// refused and is sent again corrected, under the same identity, is no repetition.
func message(ev event.Event) (*nats.Msg, error) {
	body, err := intake.Encode(ev)
	if err != nil {
		return nil, err
	}
	m := nats.NewMsg(intake.Subject(ev))
	m.Data = body
	m.Header.Set("Nats-Msg-Id", fmt.Sprintf("%s/%s/%x", ev.ID.Source, ev.ID.ID, sha256.Sum256(body)))
	m.Header.Set("Content-Type", oneEvent)
	return m, nil
}
