package wire

import (
	"encoding/json"
	"fmt"
	"hash/fnv"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/event"
	"telltale/engine/intake"
)

// Format of what is stored. A folder or server with a higher one was written by a
// newer program.
const Format = 1

// Checkpoint is where a partition stands: its records, as they are stored, hold
// all that the events up to Seq brought about, or more.
type Checkpoint struct {
	Format  int    `json:"format"`
	Program string `json:"program,omitempty"`
	Epoch   uint64 `json:"epoch"`
	// Seq is the log's sequence of the last event folded, Last its identity and
	// Digest the hash of its bytes, by which a log that went back is noticed.
	Seq    uint64    `json:"seq"`
	Last   *event.ID `json:"last,omitempty"`
	Digest uint64    `json:"digest,omitempty"`
	// Created is when the log of events was made.
	Created time.Time `json:"created"`
	Book    string    `json:"book,omitempty"` // the hash of the book in force
	Tick    time.Time `json:"tick,omitzero"`  // the last tick
	// Resumed is when the clock last went on after a pause, Unix seconds.
	Resumed int64 `json:"resumed,omitempty"`
	// Baselines is the hash of the fleet's baselines in force.
	Baselines string   `json:"baselines,omitempty"`
	Published Progress `json:"published"`
	// Said is the last message of ALARMS on the partition's subject.
	Said uint64 `json:"said,omitempty"`
	// Records is how many vehicles had one; fewer on the stream than this means
	// that some were lost.
	Records int `json:"records"`
}

// DecodeCheckpoint reads one; one of a newer program is refused.
func DecodeCheckpoint(b []byte) (Checkpoint, error) {
	var c Checkpoint
	if err := json.Unmarshal(b, &c); err != nil {
		return c, fmt.Errorf("reading a checkpoint: %w", err)
	}
	if c.Format > Format {
		return c, fmt.Errorf("reading a checkpoint: it was written by a newer program (format %d, this one knows %d)", c.Format, Format)
	}
	return c, nil
}

// DigestOf identifies a stored event whether or not it could be decoded.
func DigestOf(subject string, data []byte) uint64 {
	h := fnv.New64a()
	h.Write([]byte(subject))
	h.Write([]byte{0})
	h.Write(data)
	return h.Sum64()
}

// Position is where a record stands, and which write of it is the newer one.
type Position struct {
	Epoch, Seq uint64
	// Born is the position's sequence when the record was first written.
	Born uint64
}

// PositionHeader is where a stored record has its Position.
const PositionHeader = "Telltale-At"

// Newer reports whether p was written by a later fold than o.
func (p Position) Newer(o Position) bool {
	return p.Epoch > o.Epoch || p.Epoch == o.Epoch && p.Seq > o.Seq
}

// String is what ParsePosition reads: epoch.sequence.born.
func (p Position) String() string { return fmt.Sprintf("%d.%d.%d", p.Epoch, p.Seq, p.Born) }

// ParsePosition reads what String writes.
func ParsePosition(s string) (p Position, err error) {
	parts := strings.Split(s, ".")
	if len(parts) != 3 {
		return p, fmt.Errorf("position %q: wanted epoch.sequence.born", s)
	}
	for i, to := range []*uint64{&p.Epoch, &p.Seq, &p.Born} {
		if *to, err = strconv.ParseUint(parts[i], 10, 64); err != nil {
			return p, fmt.Errorf("position %q: %w", s, err)
		}
	}
	return p, nil
}

// RecordSubject is where a vehicle's record lies; the token may be *, for all.
func RecordSubject(partition int, token string) string {
	return fmt.Sprintf("telltale.state.%d.record.%s", partition, token)
}

// VehicleOf is the vehicle in the subject of a record.
func VehicleOf(subject string) (string, error) {
	v, err := intake.Untoken(subject[strings.LastIndexByte(subject, '.')+1:])
	if err != nil {
		return "", fmt.Errorf("reading record %q: %w", subject, err)
	}
	return v, nil
}

// CheckpointSubject is where a partition's checkpoint lies.
func CheckpointSubject(partition int) string {
	return fmt.Sprintf("telltale.state.%d.checkpoint", partition)
}

// RecordMsg is a record as it is stored; an empty one marks that it went.
func RecordMsg(subject string, at Position, b []byte) *nats.Msg {
	m := &nats.Msg{Subject: subject, Data: b, Header: nats.Header{}}
	m.Header.Set(PositionHeader, at.String())
	return m
}
