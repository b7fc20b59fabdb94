package stream

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
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
	f := l.Events.Fence(baselineSubject)
	for {
		m, err := f.Latest(ctx)
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
		if err := f.Publish(ctx, msg); !jet.Fenced(err) {
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
		piece := text[:min(len(text), wire.MaxOutput)]
		text = text[len(piece):]
		if err := l.Books.Store(ctx, &nats.Msg{Subject: fmt.Sprintf("%s.%d", at, n), Data: piece}); err != nil {
			return fmt.Errorf("storing the fleet's baselines %q: %w", hash, err)
		}
		n++
	}
	if err := l.Books.Store(ctx, &nats.Msg{Subject: at, Data: []byte(strconv.Itoa(n))}); err != nil {
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
	m, err := l.Books.Last(ctx, at)
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
		m, err := l.Books.Last(ctx, fmt.Sprintf("%s.%d", at, i))
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
	m, err := l.Events.Last(ctx, baselineSubject)
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
