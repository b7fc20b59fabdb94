package stream

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
)

// checkpoint is where a partition stands: its records, as they are stored, hold
// all that the events up to Seq brought about, or more.
type checkpoint struct {
	Format  int    `json:"format"`
	Program string `json:"program,omitempty"`
	Epoch   uint64 `json:"epoch"`
	// Seq is the log's sequence of the last event folded, Last its identity and
	// Digest the hash of its bytes, by which a log that went back is noticed.
	Seq    uint64     `json:"seq"`
	Last   *engine.ID `json:"last,omitempty"`
	Digest uint64     `json:"digest,omitempty"`
	// Created is when the log of events was made.
	Created time.Time `json:"created"`
	Book    string    `json:"book,omitempty"` // the hash of the book in force
	Tick    time.Time `json:"tick,omitzero"`  // the last tick
	// Baselines is the hash of the fleet's baselines in force.
	Baselines string `json:"baselines,omitempty"`
	Published place  `json:"published"`
	// Said is the last message of ALARMS on the partition's subject.
	Said uint64 `json:"said,omitempty"`
	// Records is how many vehicles had one; fewer on the stream than this means
	// that some were lost.
	Records int `json:"records"`
}

func decodeCheckpoint(b []byte) (checkpoint, error) {
	var c checkpoint
	if err := json.Unmarshal(b, &c); err != nil {
		return c, fmt.Errorf("reading a checkpoint: %w", err)
	}
	if c.Format > format {
		return c, fmt.Errorf("reading a checkpoint: it was written by a newer program (format %d, this one knows %d)", c.Format, format)
	}
	return c, nil
}

// digestOf identifies a stored event whether or not it could be decoded.
func digestOf(subject string, data []byte) uint64 {
	h := fnv.New64a()
	h.Write([]byte(subject))
	h.Write([]byte{0})
	h.Write(data)
	return h.Sum64()
}

// position is where a record stands, and which write of it is the newer one.
type position struct {
	epoch, seq uint64
	// born is the position's sequence when the record was first written.
	born uint64
}

const positionHeader = "Telltale-At"

func (p position) newer(o position) bool {
	return p.epoch > o.epoch || p.epoch == o.epoch && p.seq > o.seq
}

func (p position) String() string { return fmt.Sprintf("%d.%d.%d", p.epoch, p.seq, p.born) }

func parsePosition(s string) (p position, err error) {
	parts := strings.Split(s, ".")
	if len(parts) != 3 {
		return p, fmt.Errorf("position %q: wanted epoch.sequence.born", s)
	}
	for i, to := range []*uint64{&p.epoch, &p.seq, &p.born} {
		if *to, err = strconv.ParseUint(parts[i], 10, 64); err != nil {
			return p, fmt.Errorf("position %q: %w", s, err)
		}
	}
	return p, nil
}

// goneFor is how long the mark of a record that went is kept: longer than any
// checkpoint lags.
const goneFor = 30 * 24 * time.Hour

func recordSubject(partition int, token string) string {
	return fmt.Sprintf("telltale.state.%d.record.%s", partition, token)
}

func checkpointSubject(partition int) string {
	return fmt.Sprintf("telltale.state.%d.checkpoint", partition)
}

// recordMsg is a record as it is stored; an empty one marks that it went.
func recordMsg(subject string, at position, b []byte) *nats.Msg {
	m := &nats.Msg{Subject: subject, Data: b, Header: nats.Header{}}
	m.Header.Set(positionHeader, at.String())
	return m
}
