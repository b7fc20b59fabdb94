package stream

import (
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"sync"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
	"telltale/engine/stream/jet"
)

// Deliveries keeps messages to people and the checkpoint of whoever makes them.
// It is safe for concurrent use.
type Deliveries struct {
	log *Log
	mu  sync.Mutex // guards mark and seen
	// seen is the sequence of each delivery as this Deliveries read or stored it last.
	seen map[string]uint64
	// mark writes the checkpoint. It expects the last one to be its own or the one
	// that Checkpoint read.
	mark *jet.Fence
}

// Deliveries returns the store of deliveries.
func (l *Log) Deliveries() *Deliveries {
	return &Deliveries{log: l, mark: l.deliveries.Fence("telltale.notify"), seen: map[string]uint64{}}
}

const (
	keyHeader     = "Telltale-Key"
	packingHeader = "Content-Encoding"
	// packAbove is the length from which a body is compressed, so that a mail with
	// a long list fits into a message.
	packAbove = 128 << 10
)

// Create stores a delivery under its key. It reports false, and changes nothing,
// if there is one already.
func (d *Deliveries) Create(ctx context.Context, key string, body []byte) (bool, error) {
	m, err := deliveryMsg(key, body)
	if err != nil {
		return false, err
	}
	f := d.log.deliveries.Fence(m.Subject)
	switch err := f.Publish(ctx, m); {
	case jet.Fenced(err): // its first message is expected, and there is one
		return false, nil
	case err != nil:
		return false, fmt.Errorf("storing delivery %q: %w", key, err)
	}
	d.saw(key, f.Seq)
	return true, nil
}

// Replace stores a delivery in place of the one under its key. It fails with
// jet.ErrFenced if someone else has stored it since this Deliveries read or stored it:
// a replica that was paused must not send what another one has sent meanwhile.
func (d *Deliveries) Replace(ctx context.Context, key string, body []byte) error {
	m, err := deliveryMsg(key, body)
	if err != nil {
		return err
	}
	f := d.log.deliveries.Fence(m.Subject)
	d.mu.Lock()
	f.Seq = d.seen[key]
	d.mu.Unlock()
	if f.Seq == 0 {
		_, err = f.Latest(ctx)
	}
	if err == nil {
		err = f.Publish(ctx, m)
	}
	if err != nil {
		return fmt.Errorf("storing delivery %q: %w", key, err)
	}
	d.saw(key, f.Seq)
	return nil
}

func (d *Deliveries) saw(key string, seq uint64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.seen[key] = max(d.seen[key], seq)
}

// Drop forgets a delivery as this Deliveries read or stored it last; one that was
// stored since stays.
func (d *Deliveries) Drop(ctx context.Context, key string) error {
	d.mu.Lock()
	seq := d.seen[key]
	d.mu.Unlock()
	if seq == 0 {
		return fmt.Errorf("dropping delivery %q: it was not read", key)
	}
	if err := d.log.deliveries.Purge(ctx, "telltale.delivery."+deliveryToken(key), seq+1); err != nil {
		return fmt.Errorf("dropping delivery %q: %w", key, err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.seen[key] == seq {
		delete(d.seen, key)
	}
	return nil
}

// Each hands over all deliveries, in the order in which they were last stored.
func (d *Deliveries) Each(ctx context.Context, do func(key string, body []byte) error) error {
	return d.log.deliveries.Each(ctx, 1, "telltale.delivery.*", func(m jetstream.Msg, seq uint64) error {
		key := m.Headers().Get(keyHeader)
		d.saw(key, seq)
		body, err := unpack(m.Headers(), m.Data())
		if err != nil {
			return fmt.Errorf("reading delivery %q: %w", key, err)
		}
		return do(key, body)
	})
}

// Since hands over the deliveries that were stored from a sequence on, as Each does, and says
// how many there are in all.
func (d *Deliveries) Since(ctx context.Context, from uint64, do func(seq uint64, key string, body []byte) error) (held uint64, err error) {
	err = d.log.deliveries.Each(ctx, from, "telltale.delivery.*", func(m jetstream.Msg, seq uint64) error {
		key := m.Headers().Get(keyHeader)
		body, err := unpack(m.Headers(), m.Data())
		if err != nil {
			return fmt.Errorf("reading delivery %q: %w", key, err)
		}
		return do(seq, key, body)
	})
	if err != nil {
		return 0, err
	}
	info, err := d.log.deliveries.Info(ctx)
	if err != nil {
		return 0, err
	}
	mark, err := d.log.deliveries.Last(ctx, "telltale.notify")
	if held = info.State.Msgs; mark != nil {
		held--
	}
	return held, err
}

// Get is the delivery under a key; nil where there is none. It can be replaced as it was read.
func (d *Deliveries) Get(ctx context.Context, key string) ([]byte, error) {
	m, err := d.log.deliveries.Last(ctx, "telltale.delivery."+deliveryToken(key))
	if err != nil || m == nil {
		return nil, err
	}
	d.saw(key, m.Sequence)
	body, err := unpack(m.Header, m.Data)
	if err != nil {
		return nil, fmt.Errorf("reading delivery %q: %w", key, err)
	}
	return body, nil
}

// Checkpoint is what SetCheckpoint stored last; nil if there is nothing.
func (d *Deliveries) Checkpoint(ctx context.Context) ([]byte, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	m, err := d.mark.Latest(ctx)
	if err != nil || m == nil {
		return nil, err
	}
	return m.Data, nil
}

// SetCheckpoint stores the checkpoint. It fails with jet.ErrFenced if someone else
// has stored one since this Deliveries read or stored it.
func (d *Deliveries) SetCheckpoint(ctx context.Context, body []byte) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.mark.Publish(ctx, &nats.Msg{Data: body})
}

func deliveryMsg(key string, body []byte) (*nats.Msg, error) {
	m := &nats.Msg{Subject: "telltale.delivery." + deliveryToken(key), Data: body, Header: nats.Header{}}
	m.Header.Set(keyHeader, key)
	if len(body) > packAbove {
		var b bytes.Buffer
		z := gzip.NewWriter(&b)
		_, err := z.Write(body)
		if err := errors.Join(err, z.Close()); err != nil {
			return nil, fmt.Errorf("packing delivery %q: %w", key, err)
		}
		m.Data = b.Bytes()
		m.Header.Set(packingHeader, "gzip")
	}
	return m, nil
}

// deliveryToken is the key as a subject's token; a long one's hash.
func deliveryToken(key string) string {
	if t := intake.Token(key); t != "" && len(t) <= 200 {
		return t
	}
	return fmt.Sprintf("sha256=%x", sha256.Sum256([]byte(key)))
}

func unpack(h nats.Header, b []byte) ([]byte, error) {
	switch packing := h.Get(packingHeader); packing {
	case "":
		return b, nil
	case "gzip":
		z, err := gzip.NewReader(bytes.NewReader(b))
		if err != nil {
			return nil, err
		}
		return io.ReadAll(z)
	default:
		return nil, errors.New("packed as " + packing + ", which this program does not know")
	}
}
