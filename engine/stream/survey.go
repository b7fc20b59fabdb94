package stream

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
	"telltale/rules"
)

const (
	surveySubject = "telltale.all.survey"
	// alarmsHeader is on a survey: the last message of ALARMS before it, behind
	// which the answers stand.
	alarmsHeader = "Telltale-Alarms"
)

// KeepBaselines has the fleet's baselines made anew when a tick passes the next time
// of the schedule after the last survey, and when the book in force asks of the
// fleet what none was made for. All partitions answer the survey in the log with
// their samples; what is made of them is published once, whoever makes it: several
// may keep the baselines of one log. It ends when ctx does.
func (l *Log) KeepBaselines(ctx context.Context, next func(time.Time) time.Time) error {
	k := keeper{log: l, shelf: NewShelf(l), next: next}
	return l.Ticks(ctx, func(t time.Time) error { return k.tick(ctx, t) })
}

// keeper keeps the baselines of a log.
type keeper struct {
	log   *Log
	shelf *Shelf
	next  func(time.Time) time.Time
}

// survey is one that was asked for.
type survey struct {
	*fleet.SurveyData
	at    time.Time
	seq   uint64 // in the log
	after uint64 // the sequence of ALARMS behind which the answers stand
}

func (k *keeper) tick(ctx context.Context, t time.Time) error {
	asks, err := k.asks(ctx)
	if err != nil || asks == "" {
		return err
	}
	last, err := k.ask(ctx, t, asks)
	if err != nil || last == nil {
		return err
	}
	d, err := lastBaseline(k.log.Events.Last(ctx, baselineSubject))
	if err != nil || !before(d.Turn, last.Turn) {
		return err
	}
	return k.make(ctx, last)
}

// asks is the hash of what the book in force asks of the fleet; "" for nothing.
func (k *keeper) asks(ctx context.Context) (string, error) {
	hash, err := k.log.BookInForce(ctx)
	if err != nil || hash == "" {
		return "", err
	}
	b, err := k.shelf.Book(ctx, hash)
	if err != nil {
		return "", err
	}
	if text := b.AsksFleet(); text != "" {
		return fmt.Sprintf("sha256:%x", sha256.Sum256([]byte(text))), nil
	}
	return "", nil
}

// ask publishes a survey if one is due, and gives the last one.
func (k *keeper) ask(ctx context.Context, t time.Time, asks string) (*survey, error) {
	f := k.log.Events.Fence(surveySubject)
	for {
		last, err := readSurvey(f.Latest(ctx))
		if err != nil {
			return nil, err
		}
		if last != nil && (!last.at.Before(t) || last.Definitions == asks && k.next(last.at).After(t)) {
			return last, nil
		}
		after, err := k.log.LastOutput(ctx)
		if err != nil {
			return nil, err
		}
		turn := t.UTC().Format(time.RFC3339Nano)
		msg, err := k.log.eventMsg(own(event.SurveyEvent, "survey "+turn, t, &fleet.SurveyData{Turn: turn, Definitions: asks}))
		if err != nil {
			return nil, err
		}
		msg.Header.Set(alarmsHeader, strconv.FormatUint(after, 10))
		if err := f.Publish(ctx, msg); err != nil && !jet.Fenced(err) {
			return nil, err
		}
	}
}

func readSurvey(raw *jetstream.RawStreamMsg, err error) (*survey, error) {
	ev, m, err := decodeLast(raw, err)
	if err != nil || m == nil {
		return nil, err
	}
	s := &survey{SurveyData: ev.Data.(*fleet.SurveyData), at: ev.Time, seq: m.Sequence}
	if s.after, err = strconv.ParseUint(m.Header.Get(alarmsHeader), 10, 64); err != nil {
		return nil, fmt.Errorf("reading the last survey: header %s: %w", alarmsHeader, err)
	}
	return s, nil
}

// answersWithin is how long the partitions have to answer a survey. Later ticks
// look again.
const answersWithin = 5 * time.Minute

var errAnswered = errors.New("all partitions have answered")

// make makes the baselines of the partitions' answers.
func (k *keeper) make(ctx context.Context, s *survey) error {
	wait, cancel := context.WithTimeout(ctx, answersWithin)
	defer cancel()
	parts := map[int][]fleet.SurveyPart{}
	err := k.log.Outputs(wait, s.after+1, func(m wire.Message) error {
		if m.Event != s.seq || m.Reconciled {
			return nil
		}
		for _, o := range m.Outputs {
			if o.Survey != nil {
				parts[m.Partition] = append(parts[m.Partition], *o.Survey)
			}
		}
		if len(parts) == Partitions {
			return errAnswered
		}
		return nil
	})
	switch {
	case errors.Is(err, errAnswered):
	case ctx.Err() == nil && wait.Err() != nil:
		k.log.Logger.Warn("fleet baselines delayed; partitions have not answered the survey", "survey", s.Turn, "answered", len(parts), "of", Partitions)
		return nil
	default:
		return err
	}
	var all []fleet.SurveyPart
	for p := range Partitions {
		all = append(all, parts[p]...)
	}
	b, err := k.bookOf(ctx, all)
	if err != nil || b == nil {
		return err
	}
	set, err := k.log.publishBaselines(ctx, b, all)
	if err == nil && set != nil {
		k.log.Logger.Info("fleet baselines published", "number", set.Number, "groups", set.Count())
	}
	return err
}

// bookOf is the book by which the partitions answered; they all fold the same log.
func (k *keeper) bookOf(ctx context.Context, parts []fleet.SurveyPart) (*rules.Book, error) {
	for _, p := range parts {
		if p.Book != parts[0].Book {
			return nil, fmt.Errorf("the partitions answered survey %q by two books, %q and %q", p.Turn, parts[0].Book, p.Book)
		}
	}
	return k.shelf.Book(ctx, parts[0].Book)
}
