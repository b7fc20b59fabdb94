package service

import (
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"telltale/engine/stream"
	"telltale/engine/stream/feed"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
)

// CaughtUp blocks until every partition has folded all events that the log held
// at the call, and what they say is published. Partitions of other replicas are
// asked, and waited for while nobody folds them.
func (s *Service) CaughtUp(ctx context.Context) error {
	ends, err := s.ends(ctx)
	if err != nil {
		return err
	}
	for p, seq := range ends {
		if err := s.reached(ctx, p, seq); err != nil {
			return err
		}
	}
	return nil
}

// ends gives the last event of each partition.
func (s *Service) ends(ctx context.Context) (ends [stream.Partitions]uint64, err error) {
	last, err := s.log.LastEvent(ctx)
	if err != nil || last == 0 {
		return ends, err
	}
	all := false
	if m, err := s.log.Events.Get(ctx, last); err == nil && m != nil {
		all = feed.ForAll(m.Subject)
	}
	for p := range ends {
		if ends[p] = last; all {
			continue
		}
		if ends[p], err = lastOf(ctx, s.log, p); err != nil {
			return ends, err
		}
	}
	return ends, nil
}

// reached waits until the partition has folded the events up to seq.
func (s *Service) reached(ctx context.Context, p int, seq uint64) error {
	for wait := 5 * time.Millisecond; ; wait = min(2*wait, 200*time.Millisecond) {
		if w := s.worker(p); w != nil {
			err := w.wait(ctx, seq)
			if err == nil || !s.cfg.Share || ctx.Err() != nil {
				return s.cause(err)
			}
		} else if !s.cfg.Share {
			return s.cause(errStopped)
		} else if list, err := askOwner(ctx, s, health, p, Question{}); err == nil && len(list) == 1 && list[0].Seq >= seq {
			return nil
		}
		if ctx.Err() != nil {
			return fmt.Errorf("waiting for partition %d to fold event %d: %w", p, seq, ctx.Err())
		}
		jet.Rest(ctx, wait)
	}
}

// cause is why a partition was stopped, where that was another one's fault.
func (s *Service) cause(err error) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if errors.Is(err, errStopped) && s.err != nil {
		return s.err
	}
	return err
}

// Settled blocks until the partitions that come to this process's share have folded
// all events that the log held at the call; without Config.Share that is CaughtUp.
func (s *Service) Settled(ctx context.Context) error {
	if s.seating == nil {
		return s.CaughtUp(ctx)
	}
	select {
	case <-s.seating.Known():
	case <-s.done:
		return errors.Join(errStopped, s.err)
	case <-ctx.Done():
		return ctx.Err()
	}
	ends, err := s.ends(ctx)
	if err != nil {
		return err
	}
	for p, seat := range partitionSeats {
		for s.seating.Has(seat) {
			if w := s.worker(p); w != nil && w.wait(ctx, ends[p]) == nil {
				break
			}
			if ctx.Err() != nil {
				return fmt.Errorf("waiting for the share of the partitions: %w", ctx.Err())
			}
			jet.Rest(ctx, 5*time.Millisecond)
		}
	}
	return nil
}

// Folded blocks until the vehicle's partition has folded all events that the log held at
// the call, and what it says is published. The vehicle is named as its record is: by the
// first of its names.
func (s *Service) Folded(ctx context.Context, vehicle string) error {
	p := stream.Partition(vehicle)
	seq, err := lastOf(ctx, s.log, p)
	if err != nil {
		return err
	}
	return s.reached(ctx, p, seq)
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
// what is read from the log: Refused, Entries, the past in History, Baselines. The error is an
// *Incomplete where partitions do not answer.
func (s *Service) Mark(ctx context.Context) (string, error) {
	list, err := positions.Of(ctx, s, Question{})
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
