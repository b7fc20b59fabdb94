package sessions

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

var (
	// ErrNone says that there is nothing of that key: it never was, it is over, or it was
	// taken.
	ErrNone = errors.New("there is none, or it is over")
	// ErrChanged says that somebody else changed or took it since it was read, or that there
	// is one of that key already.
	ErrChanged = errors.New("it was changed meanwhile")
)

const (
	bucket = "SESSIONS"
	// markers is how long the server keeps the mark of what was taken or is over: longer
	// than a follower lags, so that none of them shows it again.
	markers = time.Hour
	// lag is how long a follower of a replicated bucket may lag behind its leader, so that
	// what was stored just now is not found yet.
	lag = 200 * time.Millisecond
)

// Secret draws what only its holder knows, to be given out once and kept as its [Hash]
// alone: 256 random bits (at least 128 are asked for by ASVS 5.0.0, 7.2.3), in letters and
// digits.
func Secret() string { return rand.Text() + rand.Text() }

// Hash is the secret as it is kept: SHA-256, in hex. A secret of 256 random bits cannot be
// found by trying, so a fast hash does (ASVS 5.0.0, 11.4.1).
func Hash(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// Bucket keeps what has an end: sessions, links for signing in, tablets that wait to be
// paired. Any replica of the service reads what another wrote. A key is a kind and a name
// in hex: "session." and a [Hash]. It is safe for concurrent use.
//
// Each value is kept until its end at the latest, by the server's own clock; and is not
// handed over after it, by the clock of whoever asks.
type Bucket struct {
	log *stream.Log
	mu  sync.Mutex
	kv  jetstream.KeyValue // nil until it was asked for
	// lags: there are followers, which may not have what was stored just now.
	lags bool
}

// Open gives the bucket of a log. It is made when something is first kept in it, with as
// many replicas as the log's streams.
func Open(l *stream.Log) *Bucket { return &Bucket{log: l} }

// Mark is a value as it was read: what is changed or taken by it must still be so.
type Mark struct {
	key   string
	rev   uint64
	until time.Time
}

// kept is a value as it lies in the bucket.
type kept struct {
	Until time.Time       `json:"until"`
	Is    json.RawMessage `json:"is"`
}

// Create keeps a value from now until its end; [ErrChanged] where there is one of that key.
func (b *Bucket) Create(ctx context.Context, key string, value any, now, until time.Time) error {
	kv, err := b.open(ctx)
	if err != nil {
		return err
	}
	body, err := pack(value, until)
	if err != nil {
		return err
	}
	call, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	_, err = kv.Create(call, key, body, jetstream.KeyTTL(left(now, until)))
	if !errors.Is(err, jetstream.ErrKeyExists) {
		return failed("keeping", key, err)
	}
	// The server's clock may be behind: what is over by ours makes room.
	e, err := kv.Get(call, key)
	var old kept
	if err == nil {
		err = json.Unmarshal(e.Value(), &old)
	}
	if err != nil || now.Before(old.Until) {
		return failed("keeping", key, ErrChanged)
	}
	_, err = b.Update(ctx, Mark{key, e.Revision(), until}, value, now)
	return err
}

// Get reads the value of a key into v, and gives the mark by which it can be changed or
// taken; [ErrNone] where there is none at that time.
func (b *Bucket) Get(ctx context.Context, key string, now time.Time, v any) (Mark, error) {
	m, err := b.get(ctx, key, now, v)
	if errors.Is(err, ErrNone) && b.lags {
		jet.Rest(ctx, lag)
		m, err = b.get(ctx, key, now, v)
	}
	return m, err
}

func (b *Bucket) get(ctx context.Context, key string, now time.Time, v any) (Mark, error) {
	kv, err := b.open(ctx)
	if err != nil {
		return Mark{}, err
	}
	e, err := jet.Ask(ctx, jet.CallTimeout, func(ctx context.Context) (jetstream.KeyValueEntry, error) { return kv.Get(ctx, key) })
	if err != nil {
		return Mark{}, failed("reading", key, err)
	}
	until, err := unpack(e.Value(), v)
	if err == nil && !now.Before(until) {
		err = ErrNone
	}
	return Mark{key, e.Revision(), until}, failed("reading", key, err)
}

// Update puts a value in place of the one that was read, until the same end, and gives its
// mark; [ErrChanged] where what was read is not there any more.
func (b *Bucket) Update(ctx context.Context, m Mark, value any, now time.Time) (Mark, error) {
	body, err := pack(value, m.until)
	if err != nil {
		return m, err
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	// The client's own Update would store it without an end: the time to live is a
	// message's, and goes with the one that is replaced.
	ack, err := b.log.JS.Publish(ctx, "$KV."+bucket+"."+m.key, body,
		jetstream.WithExpectLastSequencePerSubject(m.rev), jetstream.WithMsgTTL(left(now, m.until)))
	if err == nil {
		m.rev = ack.Sequence
	}
	return m, failed("changing", m.key, err)
}

// Take takes the value out as it was read: of several who try at once, one succeeds, and
// the others get [ErrChanged].
func (b *Bucket) Take(ctx context.Context, m Mark) error {
	return b.purge(ctx, m.key, jetstream.LastRevision(m.rev))
}

// Drop takes out what there is of a key, if there is anything.
func (b *Bucket) Drop(ctx context.Context, key string) error { return b.purge(ctx, key) }

func (b *Bucket) purge(ctx context.Context, key string, opts ...jetstream.KVDeleteOpt) error {
	kv, err := b.open(ctx)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	return failed("taking out", key, kv.Purge(ctx, key, append(opts, jetstream.PurgeTTL(markers))...))
}

// each hands over the names and values of a kind that are not over, in no order.
func (b *Bucket) each(ctx context.Context, kind string, now time.Time, do func(name string, value json.RawMessage) error) error {
	kv, err := b.open(ctx)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	watch, err := kv.WatchFiltered(ctx, []string{kind + ".*"}, jetstream.IgnoreDeletes())
	if err != nil {
		return failed("reading", kind, err)
	}
	defer watch.Stop()
	for {
		select {
		case e, more := <-watch.Updates():
			if e == nil {
				if !more {
					return failed("reading", kind, errors.New("the watch ended"))
				}
				return nil
			}
			var k kept
			if err := json.Unmarshal(e.Value(), &k); err != nil {
				return failed("reading", kind, err)
			}
			if !now.Before(k.Until) {
				continue
			}
			if err := do(e.Key()[len(kind)+1:], k.Is); err != nil {
				return err
			}
		case <-ctx.Done():
			return failed("reading", kind, ctx.Err())
		}
	}
}

// open is the bucket, made if need be.
func (b *Bucket) open(ctx context.Context) (jetstream.KeyValue, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.kv != nil {
		return b.kv, nil
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	kv, err := b.log.JS.KeyValue(ctx, bucket)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		kv, err = b.log.JS.CreateKeyValue(ctx, jetstream.KeyValueConfig{
			Bucket: bucket, Description: "who is signed in where", Storage: jetstream.FileStorage,
			Replicas: b.log.Replicas, LimitMarkerTTL: markers,
		})
	}
	if errors.Is(err, jetstream.ErrBucketExists) { // another replica was faster
		kv, err = b.log.JS.KeyValue(ctx, bucket)
	}
	if err != nil {
		return nil, fmt.Errorf("opening bucket %q: %w", bucket, err)
	}
	status, err := kv.Status(ctx)
	if err != nil {
		return nil, fmt.Errorf("opening bucket %q: %w", bucket, err)
	}
	b.kv, b.lags = kv, status.Config().Replicas > 1
	return kv, nil
}

func pack(value any, until time.Time) ([]byte, error) {
	is, err := json.Marshal(value)
	if err != nil {
		return nil, fmt.Errorf("writing a value of bucket %q: %w", bucket, err)
	}
	return json.Marshal(kept{until.UTC(), is})
}

func unpack(body []byte, v any) (until time.Time, err error) {
	var k kept
	if err := json.Unmarshal(body, &k); err != nil {
		return time.Time{}, err
	}
	return k.Until, json.Unmarshal(k.Is, v)
}

// left is how long the server keeps a value; it knows none shorter than a second.
func left(now, until time.Time) time.Duration { return max(until.Sub(now), time.Second) }

// failed says what failed; of a key its first letters alone.
func failed(what, key string, err error) error {
	switch {
	case err == nil:
		return nil
	case errors.Is(err, jetstream.ErrKeyNotFound):
		err = ErrNone
	case errors.Is(err, jetstream.ErrKeyExists), jet.WrongSequence(err):
		err = ErrChanged
	}
	const shown = 16
	return fmt.Errorf("%s %q in bucket %q: %w", what, key[:min(len(key), shown)], bucket, err)
}
