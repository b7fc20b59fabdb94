package notify

import (
	"context"
	"errors"
	"time"

	"telltale/notify/delivery"
)

const (
	// keepSaid is how long what the partitions said is kept beyond what is still
	// needed: the history of a vehicle shows it, and an audit asks for three years.
	keepSaid = 3 * 366 * 24 * time.Hour
	// keepTold is how long a message to a person is kept after it was sent or given up.
	keepTold = 400 * 24 * time.Hour
)

// trimDaily takes what is old out of the logs of what was said and told, until ctx ends.
func (s *Service) trimDaily(ctx context.Context) {
	daily := time.NewTicker(24 * time.Hour)
	defer daily.Stop()
	for {
		if !s.Suspect() { // a wall that is years ahead would make everything old
			if err := s.trim(ctx, time.Now()); err != nil && ctx.Err() == nil {
				s.Notifier.Log.Warn("trimming failed; retrying tomorrow", "error", err)
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-daily.C:
		}
	}
}

func (s *Service) trim(ctx context.Context, now time.Time) error {
	s.mu.Lock()
	saved, store := s.Notifier.Saved(), s.Notifier.Store
	s.mu.Unlock()
	told, err := delivery.Trim(ctx, store, now.Add(-keepTold))
	said, err2 := s.Log.TrimSaid(ctx, now.Add(-keepSaid), saved)
	if said > 0 || told > 0 {
		s.Notifier.Log.Info("what is old was taken out", "said", said, "told", told)
	}
	return errors.Join(err, err2)
}
