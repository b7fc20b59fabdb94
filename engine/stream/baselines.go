package stream

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/rules"
)

const baselineSubject = "telltale.all.baseline"

// setToken is where a set of the fleet's baselines lies: the hash's hex digits.
func setToken(hash string) string {
	return "telltale.book.baselines." + strings.TrimPrefix(hash, "sha256:")
}

// publishBaselines makes the fleet's baselines of all partitions' answers to a
// survey and puts them in force: the set is stored under its hash, then the event is
// published. Where one of that survey or a later one is in force already, as when
// another replica was faster, nothing is; set is then nil.
func (l *Log) publishBaselines(ctx context.Context, b *rules.Book, parts []engine.SurveyPart) (set *engine.FleetSet, err error) {
	f := l.fence(l.events, baselineSubject)
	for {
		m, err := f.read(ctx)
		if err != nil {
			return nil, err
		}
		number := 1
		if m != nil {
			last, err := decodeBaseline(m.Subject, m.Data)
			if err != nil {
				return nil, err
			}
			if !before(last.Turn, parts[0].Turn) {
				return nil, nil
			}
			number = last.Number + 1
		}
		set := engine.FleetBaselines(b, number, parts)
		ev := set.Event()
		ev.Data.(*engine.BaselineData).Set = nil // it is stored by itself, however large
		if err := l.storeSet(ctx, set); err != nil {
			return nil, err
		}
		msg, err := eventMsg(ev)
		if err != nil {
			return nil, err
		}
		if err := f.publish(ctx, msg); !fenced(err) {
			return set, err
		}
	}
}

func decodeBaseline(subject string, data []byte) (*engine.BaselineData, error) {
	ev, err := intake.DecodeInternal(subject, data)
	if err != nil {
		return nil, fmt.Errorf("reading the last baseline event: %w", err)
	}
	return ev.Data.(*engine.BaselineData), nil
}

// before compares the turns of surveys, which are times.
func before(a, b string) bool {
	s, err := time.Parse(time.RFC3339Nano, a)
	t, err2 := time.Parse(time.RFC3339Nano, b)
	return err == nil && err2 == nil && s.Before(t)
}

// storeSet writes the set in as many messages as it takes and, last, how many
// those are, whose presence says that it is whole.
func (l *Log) storeSet(ctx context.Context, set *engine.FleetSet) error {
	hash := set.Hash()
	text, err := json.Marshal(set)
	if err != nil {
		return fmt.Errorf("storing the fleet's baselines %q: %w", hash, err)
	}
	n, at := 0, setToken(hash)
	for len(text) > 0 {
		piece := text[:min(len(text), maxOutput)]
		text = text[len(piece):]
		if err := l.store(ctx, &nats.Msg{Subject: fmt.Sprintf("%s.%d", at, n), Data: piece}); err != nil {
			return fmt.Errorf("storing the fleet's baselines %q: %w", hash, err)
		}
		n++
	}
	if err := l.store(ctx, &nats.Msg{Subject: at, Data: []byte(strconv.Itoa(n))}); err != nil {
		return fmt.Errorf("storing the fleet's baselines %q: %w", hash, err)
	}
	return nil
}

// goneError says that what a hash names is stored no longer, or is not what it was.
type goneError struct{ hash string }

func (e *goneError) Error() string {
	return fmt.Sprintf("reading the fleet's baselines %q: their text is gone from stream %s", e.hash, BooksStream)
}

// set reads a set of the fleet's baselines; the error is a *goneError where it is
// not there as it was stored.
func (l *Log) set(ctx context.Context, hash string) (*engine.FleetSet, error) {
	at := setToken(hash)
	m, err := lastOn(ctx, l.books, at, l.patience)
	if err != nil {
		return nil, err
	}
	if m == nil {
		return nil, &goneError{hash}
	}
	n, err := strconv.Atoi(string(m.Data))
	if err != nil {
		return nil, &goneError{hash}
	}
	var text bytes.Buffer
	for i := range n {
		m, err := lastOn(ctx, l.books, fmt.Sprintf("%s.%d", at, i), l.patience)
		if err != nil {
			return nil, err
		}
		if m == nil {
			return nil, &goneError{hash}
		}
		text.Write(m.Data)
	}
	var set engine.FleetSet
	if err := json.Unmarshal(text.Bytes(), &set); err != nil || set.Hash() != hash {
		return nil, &goneError{hash}
	}
	return &set, nil
}

// BaselinesInForce is the last set of the fleet's baselines in the log, and its
// hash; "" before the first.
func (l *Log) BaselinesInForce(ctx context.Context) (hash string, set *engine.FleetSet, err error) {
	m, err := lastOn(ctx, l.events, baselineSubject, l.patience)
	if err != nil || m == nil {
		return "", nil, err
	}
	d, err := decodeBaseline(m.Subject, m.Data)
	if err != nil {
		return "", nil, err
	}
	set, err = l.set(ctx, d.Hash)
	return d.Hash, set, err
}

// setShelf reads a set once for all partitions, which only read it.
type setShelf struct {
	mu   sync.Mutex
	sets map[string]*engine.FleetSet
}

// set is the set of that hash; nil, and a line for the operator, where its text is
// gone: then nothing is judged by it, and the next survey makes another.
func (s *setShelf) set(ctx context.Context, l *Log, hash string) (*engine.FleetSet, error) {
	if hash == "" {
		return nil, nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if set := s.sets[hash]; set != nil {
		return set, nil
	}
	set, err := l.set(ctx, hash)
	if gone, ok := err.(*goneError); ok {
		l.log.Error("fleet baselines missing; samples are not compared with the fleet until the next survey", "error", gone)
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if s.sets == nil || len(s.sets) >= 4 { // partitions that lag may need an earlier one
		s.sets = map[string]*engine.FleetSet{}
	}
	s.sets[hash] = set
	return set, nil
}

// answerBaselines lists the fleet's baselines in force, a group an item.
func (s *Service) answerBaselines(r micro.Request, _ question) error {
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	_, set, err := s.log.BaselinesInForce(ctx)
	if err != nil {
		return err
	}
	return Reply(r, set.List())
}
