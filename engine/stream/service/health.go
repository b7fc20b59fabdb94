package service

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/engine/listing"
)

// Health is how the service stands.
type Health struct {
	Program string `json:"program,omitempty"`
	// Now is the last tick that every partition has folded, Book the hash of the
	// book in force.
	Now        time.Time         `json:"now,omitzero"`
	Book       string            `json:"book,omitempty"`
	Ready      bool              `json:"ready"` // all partitions have folded what the log held at the start
	Partitions []PartitionHealth `json:"partitions"`
	// EventsClock: the clock follows the events, and none lies ahead of it.
	EventsClock bool `json:"eventsClock,omitempty"`
	// Reads are the units in which people read of the fleet, by the settings of the replica
	// that answers.
	Reads []string `json:"reads,omitempty"`
	// Replicas are those that live, by name, where partitions are shared.
	Replicas []string `json:"replicas,omitempty"`
	// Unanswered are partitions of which nobody could say how they stand.
	Unanswered []int `json:"unanswered,omitempty"`
}

// PartitionHealth is how one partition stands. The counts are since the start.
type PartitionHealth struct {
	Partition int    `json:"partition"`
	Owner     string `json:"owner,omitempty"` // the replica that folds it
	Seq       uint64 `json:"seq"`             // of the last event folded
	// Epoch counts from 1 how often the log of events went back or was made anew.
	Epoch       uint64 `json:"epoch"`
	Vehicles    int    `json:"vehicles"`
	Events      int    `json:"events"`
	Transitions int    `json:"transitions"`
	Refused     int    `json:"refused"`
	NotJudged   int    `json:"notJudged"`
	// Stages counts the transitions by the stage they lead to, Reasons the refusals
	// by what was wrong: malformed, forged, future, conflict, fault or inapplicable.
	Stages map[string]int `json:"stages,omitempty"`
	// Active counts the alarms that are active now, by stage.
	Active  map[alarm.Stage]int `json:"active,omitempty"`
	Reasons map[string]int      `json:"reasons,omitempty"`
	// Lag is how many events wait behind the last one folded (of all partitions, where
	// one process reads the log for all); Saved is when the
	// checkpoint was written last, by the wall, or the partition loaded.
	Lag   uint64    `json:"lag"`
	Saved time.Time `json:"saved,omitzero"`
	Fault string    `json:"fault,omitempty"` // why it ended
}

// standing is how a partition stands, and what all of them are summed up by.
type standing struct {
	PartitionHealth
	Now   time.Time `json:"now,omitzero"`
	Book  string    `json:"book,omitempty"`
	Ready bool      `json:"ready"`
}

// standing is taken with mu held. Who does not see all has the counts of what they see, and
// none of what happened since the start.
func (w *worker) standing(q Question) standing {
	s := standing{
		PartitionHealth: PartitionHealth{Partition: w.p, Owner: w.owner, Seq: w.at.Seq, Epoch: w.at.Epoch, Vehicles: w.vehicles, Events: w.seen.events,
			Transitions: w.seen.transitions, Refused: w.seen.refused, NotJudged: w.seen.notJudged,
			Stages: maps.Clone(w.seen.stages), Reasons: maps.Clone(w.seen.reasons), Lag: w.behind(), Saved: w.saved, Active: w.fold.ActiveAlarms()},
		Now: w.fold.Now(), Ready: w.at.Seq >= w.target && w.failed == nil,
	}
	if b := w.fold.Book(); b != nil {
		s.Book = b.Hash
	}
	if w.failed != nil {
		s.Fault = w.failed.Error()
	}
	if q.Sees != "" {
		w.narrowHealth(q, &s.PartitionHealth)
	}
	return s
}

func (w *worker) narrowHealth(q Question, h *PartitionHealth) {
	a := w.fleet(q)
	*h = PartitionHealth{Partition: h.Partition, Owner: h.Owner, Seq: h.Seq, Epoch: h.Epoch, Lag: h.Lag, Saved: h.Saved, Fault: h.Fault,
		Vehicles: len(a.Homes("")), Active: map[alarm.Stage]int{}}
	for _, v := range []listing.View{listing.Due, listing.Standing, listing.Out} {
		for stage, n := range a.Counted(listing.Query{View: v, Aside: true}).Stages {
			h.Active[stage] += n
		}
	}
	if h.Fault != "" {
		h.Fault = "it has ended; whoever runs the service can see why" // which may name a vehicle
	}
}

// Health says how this process stands, with the partitions that it folds.
func (s *Service) Health() Health {
	h := Health{Program: s.cfg.Program, Ready: true, EventsClock: s.cfg.ClockFollowsEvents, Reads: s.cfg.Reads.Names()}
	for _, w := range s.here() {
		w.mu.Lock()
		h.add(w.standing(Question{}))
		w.mu.Unlock()
	}
	if s.seating != nil {
		h.Replicas = s.seating.Replicas()
		h.Ready = h.Ready && len(h.Partitions) == s.shared()
	}
	return h
}

func (h *Health) add(s standing) {
	if len(h.Partitions) == 0 || s.Now.Before(h.Now) {
		h.Now = s.Now
	}
	if s.Book != "" {
		h.Book = s.Book
	}
	h.Ready = h.Ready && s.Ready
	h.Partitions = append(h.Partitions, s.PartitionHealth)
}

// HealthOfAll says how all partitions stand, wherever they are folded.
func (s *Service) HealthOfAll(ctx context.Context) Health { return s.HealthFor(ctx, Question{}) }

// HealthFor is it for whoever asks: the counts are of the vehicles that they may see.
func (s *Service) HealthFor(ctx context.Context, q Question) Health {
	all, err := health.Of(ctx, s, Question{Sees: q.Sees})
	h := Health{Program: s.cfg.Program, Ready: err == nil, EventsClock: s.cfg.ClockFollowsEvents, Reads: s.cfg.Reads.Names()}
	for _, p := range all {
		h.add(p)
	}
	if i := (*Incomplete)(nil); errors.As(err, &i) {
		h.Unanswered = i.Partitions
	}
	if s.seating != nil {
		h.Replicas = s.seating.Replicas()
	}
	return h
}

// Held counts the seats in which this process works: those of partitions under
// "partition", each other one under its own name.
func (s *Service) Held() map[string]int {
	held := map[string]int{"partition": 0}
	for _, seat := range dutySeats {
		held[seat] = 0
	}
	seats := slices.Concat(partitionSeats, dutySeats)
	if s.seating != nil {
		seats = s.seating.Seats()
	}
	for _, seat := range seats {
		if _, duty := held[seat]; !duty {
			seat = "partition"
		}
		held[seat]++
	}
	return held
}

// Claims counts how often this process has taken a partition.
func (s *Service) Claims() uint64 { return s.claims.Load() }

// Clock is the latest moment that an event may have, and the service's now. Where the
// clock follows the events none is too late.
func (h Health) Clock() (latest, now time.Time) {
	if h.EventsClock {
		return time.Unix(1<<40, 0), h.Now
	}
	now = time.Now()
	return now.Add(24 * time.Hour), now
}

// counts are what a worker has seen since it was loaded.
type counts struct {
	events, transitions, refused, notJudged int

	stages, reasons map[string]int
	lag             uint64 // events behind the last one folded, when that one came
}

// reason classes a refusal, so that the classes are few whatever is sent.
// undecoded is why it was refused before it was folded.
func reason(r *alarm.Refusal, undecoded error) string {
	return string(cmp.Or(r.Class, intake.ClassOf(undecoded), "inapplicable"))
}

func (w *worker) count(out []engine.Output, undecoded error, lag uint64) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.seen.events++
	w.seen.lag = lag
	for _, o := range out {
		switch {
		case o.Transition != nil:
			w.seen.transitions++
			w.seen.stages[string(o.Transition.To)]++
		case o.Refused != nil:
			w.seen.refused++
			w.seen.reasons[reason(o.Refused, undecoded)]++
		case o.NotJudged != nil:
			w.seen.notJudged++
		}
	}
}
