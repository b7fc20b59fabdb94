// Package answer carries a list over NATS as the answer to a question: in pages that fit into
// messages, each with the mark of its answer, since a question may be asked and answered twice.
// One that takes long says meanwhile that it is being made. [Reply] and [Later] are for who
// answers, [Ask] for who asks.
package answer

import (
	"encoding/json"

	"github.com/nats-io/nats.go/micro"
	"github.com/nats-io/nuid"

	"telltale/engine/stream/wire"
)

// Page is one reply of several; the last one has no more.
type Page[T any] struct {
	Items []T  `json:"items"`
	More  bool `json:"more,omitempty"`
	// Unanswered are partitions whose vehicles the whole list lacks.
	Unanswered []int `json:"unanswered,omitempty"`
}

// pageBytes is how long a page may be.
const pageBytes = 400 << 10

// Header is the same on all replies of one answer: a question may be answered
// twice.
const Header = "Telltale-Answer"

// Reply answers a request with a list, in pages that fit into messages. Unanswered are
// partitions whose vehicles it lacks.
func Reply[T any](r micro.Request, items []T, unanswered []int) error {
	mark := micro.WithHeaders(micro.Headers{Header: {nuid.Next()}})
	raw, size := []json.RawMessage{}, 0
	for _, it := range items {
		b, err := wire.Marshal(it)
		if err != nil {
			return err
		}
		if size+len(b) > pageBytes && len(raw) > 0 {
			if err := r.RespondJSON(Page[json.RawMessage]{Items: raw, More: true}, mark); err != nil {
				return err
			}
			raw, size = raw[:0], 0
		}
		raw, size = append(raw, b), size+len(b)+1
	}
	return r.RespondJSON(Page[json.RawMessage]{Items: raw, Unanswered: unanswered}, mark)
}
