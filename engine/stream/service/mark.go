package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"telltale/engine/stream/budget"
	"telltale/engine/stream/wire"
)

// longs are the questions that are asked of every vehicle of the fleet where they name
// none.
var longs = map[string]bool{"due": true, "alarms": true, "register": true, "limits": true}

// longWithin is how long the partitions' owners have for a long question.
const longWithin = 20 * time.Second

// long reports whether the question is one for the budget: about the whole fleet, and about
// each vehicle of it.
func (q *Question) long(name string) bool { return longs[name] && q.Vehicle == "" && q.Tag == "" }

func (q *Question) within(name string) time.Duration {
	if longs[name] && q.Vehicle == "" {
		return longWithin
	}
	return answerWithin
}

// inTurn is a long list when its turn comes, or the answer that somebody has had at the same
// positions of the log.
func (in *Inquiry[T]) inTurn(ctx context.Context, s *Service, q Question) ([]T, error) {
	text, err := json.Marshal(q)
	if err != nil {
		return nil, fmt.Errorf("asking for %s: %w", in.name, err)
	}
	mark, err := s.Mark(ctx)
	if err != nil {
		mark = "" // not all answer, so nobody else is to be given this
	}
	list, err := budget.Do(ctx, &s.budget, in.name+" "+string(text), mark, func(ctx context.Context) ([]T, error) {
		return in.over(ctx, s, q)
	})
	return slices.Clone(list), err
}

// at is where a partition stands.
type at struct {
	P int `json:"p"`
	wire.Position
}

var positions = between(Inquiry[at]{"position", func(w *worker, _ Question) []at {
	return []at{{w.p, wire.Position{Epoch: w.at.Epoch, Seq: w.at.Seq}}}
}, nil})

// Mark is a text for where all partitions stand in the log: as long as it is the same, so is
// what Due, Alarms, Lines and all else answer that comes from the records. It is not that of
// what is read from the log: Refused, Entries, the past in History, Baselines. It serves as
// an ETag, beside whatever else makes a page: who looks, and in which units. The error is an
// *Incomplete where partitions do not answer.
func (s *Service) Mark(ctx context.Context) (string, error) { return s.mark(ctx, Question{}) }

// MarkOf is the mark of the one partition that a vehicle is in.
func (s *Service) MarkOf(ctx context.Context, vehicle string) (string, error) {
	return s.mark(ctx, Question{Vehicle: vehicle})
}

func (s *Service) mark(ctx context.Context, q Question) (string, error) {
	list, err := positions.Of(ctx, s, q)
	if err != nil {
		return "", err
	}
	text, err := json.Marshal(list) // in order of partition
	if err != nil {
		return "", fmt.Errorf("marking where the partitions stand: %w", err)
	}
	sum := sha256.Sum256(append(text, s.cfg.Program...))
	return fmt.Sprintf("%x", sum[:8]), nil
}
