package service

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"
	"github.com/nats-io/nuid"
)

const (
	// atItHeader is on an empty page that says that the answer is being made.
	atItHeader = "Telltale-At-It"
	// atItAfter is when that is said first, and atItEvery how often then: well within the
	// time after which a question is asked again.
	atItAfter = 100 * time.Millisecond
	atItEvery = 500 * time.Millisecond
)

// later is a request that is answered after its handler has returned, so that a long answer
// holds up no other. Micro keeps account of a request only while it is handled, so the
// answer goes past it.
type later struct {
	micro.Request
	conn *nats.Conn
	mark string // on all replies, see replyHeader
}

func (l later) Respond(data []byte, opts ...micro.RespondOpt) error {
	m := &nats.Msg{Subject: l.Reply(), Data: data, Header: nats.Header{}}
	for _, opt := range opts {
		opt(m)
	}
	m.Header.Set(replyHeader, l.mark)
	return l.conn.PublishMsg(m)
}

func (l later) RespondJSON(v any, opts ...micro.RespondOpt) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encoding an answer: %w", err)
	}
	return l.Respond(data, opts...)
}

func (l later) Error(code, why string, data []byte, opts ...micro.RespondOpt) error {
	return l.Respond(data, append(opts, micro.WithHeaders(micro.Headers{micro.ErrorHeader: {why}, micro.ErrorCodeHeader: {code}}))...)
}

// atIt says from time to time that the answer is being made, until ctx ends. A client that
// knows nothing of it takes these for pages without a line.
func (l later) atIt(ctx context.Context) {
	for after := atItAfter; ; after = atItEvery {
		select {
		case <-ctx.Done():
			return
		case <-time.After(after):
			_ = l.RespondJSON(page[string]{Items: []string{}, More: true}, micro.WithHeaders(micro.Headers{atItHeader: {"yes"}}))
		}
	}
}

// answer has a question handled in its time, while the handler of its endpoint goes on with
// the next. One that is asked again while it is in work is in work once.
func (s *Service) answer(r micro.Request, q Question, handle handler) {
	if _, again := s.atWork.LoadOrStore(r.Reply(), true); again {
		return
	}
	l := later{r, s.log.Conn, nuid.Next()}
	go func() {
		defer s.atWork.Delete(r.Reply())
		ctx, cancel := context.WithTimeout(s.life, respondWithin)
		defer cancel()
		go l.atIt(ctx)
		if err := handle(ctx, l, q); err != nil {
			_ = l.Error("500", err.Error(), nil) // whoever asked is gone where this fails
		}
	}()
}
