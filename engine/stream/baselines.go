package stream

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/fleet"
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
func (l *Log) publishBaselines(ctx context.Context, b *rules.Book, parts []fleet.SurveyPart) (set *fleet.Set, err error) {
	f := l.Events.Fence(baselineSubject)
	for {
		last, err := lastBaseline(f.Latest(ctx))
		if err != nil || !before(last.Turn, parts[0].Turn) {
			return nil, err
		}
		known, err := l.setKnown(ctx, last.Hash)
		if err != nil {
			return nil, err
		}
		set := fleet.MakeAfter(known, b, last.Number+1, parts)
		ev := set.Event()
		ev.Data.(*fleet.BaselineData).Set = nil // it is stored by itself, however large
		if err := l.storeSet(ctx, set); err != nil {
			return nil, err
		}
		msg, err := l.eventMsg(ev)
		if err != nil {
			return nil, err
		}
		if err := f.Publish(ctx, msg); !jet.Fenced(err) {
			return set, err
		}
	}
}

// setKnown is the set of that hash; nil for none, and where its text is gone.
func (l *Log) setKnown(ctx context.Context, hash string) (*fleet.Set, error) {
	if hash == "" {
		return nil, nil
	}
	set, err := l.set(ctx, hash)
	if errors.Is(err, errGone) {
		return nil, nil
	}
	return set, err
}

// lastBaseline is what the last baseline event holds; empty before the first.
func lastBaseline(raw *jetstream.RawStreamMsg, err error) (*fleet.BaselineData, error) {
	ev, m, err := decodeLast(raw, err)
	if err != nil || m == nil {
		return &fleet.BaselineData{}, err
	}
	return ev.Data.(*fleet.BaselineData), nil
}

// AwaitBaselines waits until baselines that a survey of t or a later one made are in force.
func (l *Log) AwaitBaselines(ctx context.Context, t time.Time) error {
	for turn := t.UTC().Format(time.RFC3339Nano); ; {
		d, err := lastBaseline(l.Events.Last(ctx, baselineSubject))
		if err != nil || !before(d.Turn, turn) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// before compares the turns of surveys, which are times; "" is before all.
func before(a, b string) bool {
	if a == "" {
		return true
	}
	s, err := time.Parse(time.RFC3339Nano, a)
	t, err2 := time.Parse(time.RFC3339Nano, b)
	return err == nil && err2 == nil && s.Before(t)
}

// storeSet writes the set in as many messages as it takes and, last, how many
// those are, whose presence says that it is whole.
func (l *Log) storeSet(ctx context.Context, set *fleet.Set) error {
	hash := set.Hash()
	text, err := json.Marshal(set)
	if err == nil {
		pieces := slices.Collect(slices.Chunk(text, wire.MaxOutput))
		err = l.storePieces(ctx, setToken(hash), pieces, []byte(strconv.Itoa(len(pieces))))
	}
	if err != nil {
		return fmt.Errorf("storing the fleet's baselines %q: %w", hash, err)
	}
	return nil
}

// errGone says that a set is stored no longer, or is not what it was.
var errGone = errors.New("their text is gone from stream " + BooksStream)

// set reads a set of the fleet's baselines; the error is errGone where it is not there
// as it was stored.
func (l *Log) set(ctx context.Context, hash string) (*fleet.Set, error) {
	at := setToken(hash)
	m, err := l.Books.Last(ctx, at)
	if err != nil {
		return nil, err
	}
	gone := fmt.Errorf("reading the fleet's baselines %q: %w", hash, errGone)
	if m == nil {
		return nil, gone
	}
	n, err := strconv.Atoi(string(m.Data))
	if err != nil {
		return nil, gone
	}
	pieces, err := l.pieces(ctx, at, n)
	if err != nil {
		return nil, err
	}
	var set fleet.Set
	if err := json.Unmarshal(bytes.Join(pieces, nil), &set); err != nil || set.Hash() != hash {
		return nil, gone
	}
	return &set, nil
}

// BaselinesInForce is the last set of the fleet's baselines in the log, and its
// hash; "" before the first.
func (l *Log) BaselinesInForce(ctx context.Context) (hash string, set *fleet.Set, err error) {
	d, err := lastBaseline(l.Events.Last(ctx, baselineSubject))
	if err != nil || d.Hash == "" {
		return "", nil, err
	}
	set, err = l.set(ctx, d.Hash)
	return d.Hash, set, err
}
