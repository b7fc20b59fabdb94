// Package passkeys keeps the passkeys of people in the log of the service: any of its
// replicas knows those that another took in, and they have no end.
//
// Of a passkey only its public half is kept. The bucket is no less private for that: who
// could write to it could sign in as anybody. The server of the service keeps clients from
// it, to read and to write.
//
//	err := s.Change(ctx, "ines", func(h *passkeys.Holder) error { h.Keys = append(h.Keys, key); return nil })
//	h, err := s.By(ctx, handle) // whose passkey it is
package passkeys

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

// ErrNone says that nobody has that handle.
var ErrNone = errors.New("nobody has it")

const (
	bucket = "PASSKEYS"
	// lag is how long a follower of a replicated bucket may lag behind its leader.
	lag = 200 * time.Millisecond
	// handleSize is that of a handle: as much as a passkey holds (WebAuthn level 3, 14.6.1).
	handleSize = 64
)

// Holder is a person with their passkeys.
type Holder struct {
	Person string `json:"person"`
	// Handle is by what their passkeys know them: random, so that it tells nobody who they
	// are (WebAuthn level 3, 14.6.1).
	Handle []byte `json:"handle"`
	Keys   []Key  `json:"keys"`
	// Offered: they were asked once whether they want one.
	Offered bool `json:"offered,omitempty"`
}

// Key is one passkey.
type Key struct {
	ID []byte `json:"id"`
	// Mail is a hash of its person's mail address as it was made: an id of people.yaml may be
	// given to somebody else, whom it must not let in.
	Mail string `json:"mail,omitempty"`
	// Device says in words on which device it was made.
	Device string    `json:"device"`
	Added  time.Time `json:"added"`
	Used   time.Time `json:"used,omitzero"`
	// Copied is when it was first seen to be on two devices at once, by its count of
	// signatures; it opens nothing from then on. Zero where it never was.
	Copied time.Time `json:"copied,omitzero"`
	// Credential is what its signatures are checked by, as whoever checks them writes it.
	Credential json.RawMessage `json:"credential"`
}

// Opens reports whether the passkey opens the door to whoever has that mail address, by its
// hash.
func (k *Key) Opens(mail string) bool { return k.Copied.IsZero() && k.Mail == mail }

// Opening counts those that open the door to whoever has that mail address, by its hash.
func (h *Holder) Opening(mail string) (n int) {
	for i := range h.Keys {
		if h.Keys[i].Opens(mail) {
			n++
		}
	}
	return n
}

// Key is the passkey of that id; nil where the person has none of it.
func (h *Holder) Key(id []byte) *Key {
	for i := range h.Keys {
		if bytes.Equal(h.Keys[i].ID, id) {
			return &h.Keys[i]
		}
	}
	return nil
}

// Store is where passkeys are kept. It is safe for concurrent use.
type Store struct {
	log *stream.Log
	mu  sync.Mutex
	kv  jetstream.KeyValue // nil until it was asked for
	// lags: there are followers, which may not have what was stored just now.
	lags bool
}

// Open gives the store of a log. Its bucket is made when it is first asked.
func Open(l *stream.Log) *Store { return &Store{log: l} }

// Names of people may hold anything, and a key's letters are few.
func keyOf(person string) string    { return "person." + hex.EncodeToString([]byte(person)) }
func keyBy(handle []byte) string    { return "handle." + hex.EncodeToString(handle) }
func (h *Holder) is(by []byte) bool { return bytes.Equal(h.Handle, by) }

// Of is a person with their passkeys; without a handle where they never had one.
func (s *Store) Of(ctx context.Context, person string) (Holder, error) {
	h, _, err := s.read(ctx, person)
	return h, err
}

// By is who has the handle; [ErrNone] where nobody has.
func (s *Store) By(ctx context.Context, handle []byte) (Holder, error) {
	h, err := s.by(ctx, handle)
	if errors.Is(err, ErrNone) && s.lags {
		jet.Rest(ctx, lag)
		h, err = s.by(ctx, handle)
	}
	return h, err
}

func (s *Store) by(ctx context.Context, handle []byte) (Holder, error) {
	if len(handle) != handleSize {
		return Holder{}, ErrNone
	}
	e, err := s.get(ctx, keyBy(handle))
	if e == nil || err != nil {
		return Holder{}, errors.Join(err, ErrNone)
	}
	h, _, err := s.read(ctx, string(e.Value()))
	if err == nil && !h.is(handle) {
		err = ErrNone // its maker was interrupted, and nobody was told of it
	}
	return h, err
}

func (s *Store) read(ctx context.Context, person string) (h Holder, rev uint64, err error) {
	h.Person = person
	e, err := s.get(ctx, keyOf(person))
	if e == nil || err != nil {
		return h, 0, err
	}
	if err := json.Unmarshal(e.Value(), &h); err != nil {
		return h, 0, fmt.Errorf("reading the passkeys of %q: %w", person, err)
	}
	return h, e.Revision(), nil
}

// get is what there is of a key; nil for nothing.
func (s *Store) get(ctx context.Context, key string) (jetstream.KeyValueEntry, error) {
	kv, err := s.open(ctx)
	if err != nil {
		return nil, err
	}
	e, err := jet.Ask(ctx, jet.CallTimeout, func(ctx context.Context) (jetstream.KeyValueEntry, error) { return kv.Get(ctx, key) })
	if errors.Is(err, jetstream.ErrKeyNotFound) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("reading bucket %q: %w", bucket, err)
	}
	return e, nil
}

// Change changes a person's passkeys by do, which is asked again where somebody else changed
// them meanwhile. An error of do leaves them as they are, and is given back. Who had none
// gets a handle first.
func (s *Store) Change(ctx context.Context, person string, do func(*Holder) error) error {
	const most = 20
	var err error
	for range most {
		if err = s.change(ctx, person, do); !errors.Is(err, jetstream.ErrKeyExists) && !jet.WrongSequence(err) {
			return err
		}
		jet.Rest(ctx, lag/most)
	}
	return err
}

func (s *Store) change(ctx context.Context, person string, do func(*Holder) error) error {
	h, rev, err := s.read(ctx, person)
	if err != nil {
		return err
	}
	if h.Handle == nil {
		h.Handle = make([]byte, handleSize)
		_, _ = rand.Read(h.Handle) // it never fails
		if err := s.put(ctx, keyBy(h.Handle), []byte(person), 0); err != nil {
			return err
		}
	}
	if err := do(&h); err != nil {
		return err
	}
	body, err := json.Marshal(h)
	if err != nil {
		return fmt.Errorf("writing the passkeys of %q: %w", person, err)
	}
	return s.put(ctx, keyOf(person), body, rev)
}

// put stores in place of what was read at rev, 0 for nothing.
func (s *Store) put(ctx context.Context, key string, body []byte, rev uint64) error {
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	var err error
	if rev == 0 {
		_, err = s.kv.Create(ctx, key, body)
	} else {
		_, err = s.kv.Update(ctx, key, body, rev)
	}
	if err != nil {
		return fmt.Errorf("writing bucket %q: %w", bucket, err)
	}
	return nil
}

// All are the people who have passkeys, by their ids.
func (s *Store) All(ctx context.Context) (map[string]Holder, error) {
	kv, err := s.open(ctx)
	if err != nil {
		return nil, err
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	names, err := kv.ListKeysFiltered(ctx, "person.*")
	if err != nil {
		return nil, fmt.Errorf("reading bucket %q: %w", bucket, err)
	}
	out := map[string]Holder{}
	for name := range names.Keys() {
		person, err := hex.DecodeString(strings.TrimPrefix(name, "person."))
		if err != nil {
			return nil, fmt.Errorf("reading bucket %q: %w", bucket, err)
		}
		h, err := s.Of(ctx, string(person))
		if err != nil {
			return nil, err
		}
		if len(h.Keys) > 0 {
			out[h.Person] = h
		}
	}
	return out, ctx.Err()
}

// open is the bucket, made if need be.
func (s *Store) open(ctx context.Context) (jetstream.KeyValue, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.kv != nil {
		return s.kv, nil
	}
	ctx, cancel := context.WithTimeout(ctx, jet.CallTimeout)
	defer cancel()
	kv, err := s.log.JS.KeyValue(ctx, bucket)
	if errors.Is(err, jetstream.ErrBucketNotFound) {
		kv, err = s.log.JS.CreateKeyValue(ctx, jetstream.KeyValueConfig{
			Bucket: bucket, Description: "by what people sign in", Storage: jetstream.FileStorage, Replicas: s.log.Replicas,
		})
	}
	if errors.Is(err, jetstream.ErrBucketExists) { // another replica was faster
		kv, err = s.log.JS.KeyValue(ctx, bucket)
	}
	if err != nil {
		return nil, fmt.Errorf("opening bucket %q: %w", bucket, err)
	}
	s.kv, s.lags = kv, s.log.Replicas > 1
	return kv, nil
}
