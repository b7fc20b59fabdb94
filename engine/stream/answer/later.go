package answer

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
	// AtIt is the header of an empty page that says that the answer is being made.
	AtIt = "Telltale-At-It"
	// atItAfter is when that is said first, and atItEvery how often then: well within the
	// time after which a question is asked again.
	atItAfter = 100 * time.Millisecond
	atItEvery = 500 * time.Millisecond
)

// Later is a request that is answered after its handler has returned, so that a long answer
// holds up no other. Micro keeps account of a request only while it is handled, so the
// answer goes past it.
type Later struct {
	micro.Request
	conn *nats.Conn
	mark string // on all replies, see Header
}

// LaterOf is the request, to be answered over the connection.
func LaterOf(r micro.Request, nc *nats.Conn) Later { return Later{r, nc, nuid.Next()} }

// Respond sends a reply.
func (l Later) Respond(data []byte, opts ...micro.RespondOpt) error {
	m := &nats.Msg{Subject: l.Reply(), Data: data, Header: nats.Header{}}
	for _, opt := range opts {
		opt(m)
	}
	m.Header.Set(Header, l.mark)
	return l.conn.PublishMsg(m)
}

// RespondJSON sends a reply as JSON.
func (l Later) RespondJSON(v any, opts ...micro.RespondOpt) error {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("encoding an answer: %w", err)
	}
	return l.Respond(data, opts...)
}

// Error sends a fault in place of a reply.
func (l Later) Error(code, why string, data []byte, opts ...micro.RespondOpt) error {
	return l.Respond(data, append(opts, micro.WithHeaders(micro.Headers{micro.ErrorHeader: {why}, micro.ErrorCodeHeader: {code}}))...)
}

// AtIt says from time to time that the answer is being made, until ctx ends. A client that
// knows nothing of it takes these for pages without a line.
func (l Later) AtIt(ctx context.Context) {
	for after := atItAfter; ; after = atItEvery {
		select {
		case <-ctx.Done():
			return
		case <-time.After(after):
			_ = l.RespondJSON(Page[string]{Items: []string{}, More: true}, micro.WithHeaders(micro.Headers{AtIt: {"yes"}}))
		}
	}
}
