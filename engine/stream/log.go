package stream

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"log/slog"
	"slices"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
	"telltale/engine/stream/jet"
	"telltale/engine/stream/wire"
)

// Partitions is how many parts the vehicles are divided into. It is fixed when
// the streams are made, because the server computes the part.
const Partitions = 16

// InFlight is how many of a partition's writes wait for their acknowledgement
// together.
const InFlight = 256

// The streams' names.
const (
	EventsStream     = "EVENTS"
	AlarmsStream     = "ALARMS"
	StateStream      = "STATE"
	BooksStream      = "BOOKS"
	DeliveriesStream = "DELIVERIES"
	SaidStream       = "SAID"
)

const (
	formatKey     = "telltale-format"
	partitionsKey = "telltale-partitions"
)

// Partition is where the events of a vehicle are folded: the 32-bit FNV-1a hash
// of its token modulo Partitions, as the server reckons it.
func Partition(vehicle string) int {
	h := fnv.New32a()
	h.Write([]byte(intake.Token(vehicle)))
	return int(h.Sum32() % Partitions)
}

// LogConfig says how the streams are made; what exists is not changed.
type LogConfig struct {
	// Replicas of each stream; 1 where 0.
	Replicas int
	// MaxBytes bounds the log of events: when it is full, new events are refused
	// and no old one is dropped. 0 is no bound but the disk.
	MaxBytes int64
	// Patience is how long to go on asking a server that does not answer; 20 s
	// where 0.
	Patience time.Duration
	// Log is the default logger where nil.
	Log *slog.Logger
}

// Log is the streams, made and checked. It is safe for concurrent use. Its fields are
// for the packages that fold it; everything else goes by its methods.
type Log struct {
	Conn     *nats.Conn
	JS       jetstream.JetStream
	Logger   *slog.Logger
	Replicas int // of each stream that is made

	Events, Alarms, State, Books, Said *jet.Stream

	deliveries *jet.Stream
	patience   time.Duration
}

// Open makes the streams that are missing and checks those that are there. It
// refuses streams with another partition count or of a newer program.
func Open(ctx context.Context, nc *nats.Conn, c LogConfig) (*Log, error) {
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(jet.CallTimeout), jetstream.WithPublishAsyncTimeout(jet.CallTimeout),
		jetstream.WithPublishAsyncMaxPending(Partitions*InFlight)) // all partitions may write at once
	if err != nil {
		return nil, fmt.Errorf("opening JetStream: %w", err)
	}
	c.Replicas = max(c.Replicas, 1)
	l := &Log{Conn: nc, JS: js, Logger: cmp.Or(c.Log, slog.Default()), Replicas: c.Replicas, patience: cmp.Or(c.Patience, 20*time.Second)}
	for _, s := range []struct {
		to  **jet.Stream
		cfg jetstream.StreamConfig
	}{
		{&l.Events, eventsConfig(c)}, {&l.Alarms, alarmsConfig(c)}, {&l.State, stateConfig(c)},
		{&l.Said, saidConfig(c)},
		{&l.Books, latest(c, BooksStream, "telltale.book.>")},
		{&l.deliveries, latest(c, DeliveriesStream, "telltale.delivery.*", "telltale.notify")},
	} {
		made, err := l.ensure(ctx, s.cfg)
		if err != nil {
			return nil, err
		}
		*s.to = &jet.Stream{JS: js, S: made, Patience: l.patience}
	}
	return l, nil
}

func base(c LogConfig, name string, subjects ...string) jetstream.StreamConfig {
	return jetstream.StreamConfig{
		Name: name, Subjects: subjects, Storage: jetstream.FileStorage, Replicas: c.Replicas,
		Discard: jetstream.DiscardNew, MaxBytes: -1, DenyDelete: true,
		Metadata: map[string]string{formatKey: strconv.Itoa(wire.Format), partitionsKey: strconv.Itoa(Partitions)},
	}
}

func eventsConfig(c LogConfig) jetstream.StreamConfig {
	s := base(c, EventsStream, "telltale.in.*.*", "telltale.all.>")
	s.SubjectTransform = &jetstream.SubjectTransformConfig{
		Source:      "telltale.in.*.*",
		Destination: fmt.Sprintf("telltale.event.{{partition(%d,1)}}.{{wildcard(1)}}.{{wildcard(2)}}", Partitions),
	}
	s.DenyPurge = true
	s.Duplicates = 2 * time.Minute
	if c.MaxBytes > 0 {
		s.MaxBytes = c.MaxBytes
	}
	return s
}

func alarmsConfig(c LogConfig) jetstream.StreamConfig {
	return base(c, AlarmsStream, "telltale.alarm.*") // TrimSaid bounds it
}

func stateConfig(c LogConfig) jetstream.StreamConfig {
	s := latest(c, StateStream, "telltale.state.>")
	s.AllowMsgTTL = true // a record that went leaves a mark that goes by itself
	s.DenyDelete = false
	if c.Replicas == 1 {
		// What a power failure takes of the tail is folded again.
		s.PersistMode = jetstream.AsyncPersistMode
	}
	return s
}

// latest keeps the last message of each subject alone.
func latest(c LogConfig, name string, subjects ...string) jetstream.StreamConfig {
	s := base(c, name, subjects...)
	s.MaxMsgsPerSubject = 1
	return s
}

// ensure returns the stream, made if need be.
func (l *Log) ensure(ctx context.Context, want jetstream.StreamConfig) (jetstream.Stream, error) {
	s, err := jet.Ask(ctx, l.patience, func(ctx context.Context) (jetstream.Stream, error) {
		s, err := l.JS.Stream(ctx, want.Name)
		if errors.Is(err, jetstream.ErrStreamNotFound) {
			return l.JS.CreateStream(ctx, want)
		}
		return s, err
	})
	if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // another replica was faster
		s, err = l.JS.Stream(ctx, want.Name)
	}
	if err != nil {
		return nil, fmt.Errorf("opening stream %q: %w", want.Name, err)
	}
	if err := verify(s.CachedInfo().Config, want); err != nil {
		return nil, fmt.Errorf("opening stream %q: %w", want.Name, err)
	}
	return s, nil
}

// verify says what makes a stream unusable. Replicas, bounds and placement are
// the operator's.
func verify(got, want jetstream.StreamConfig) error {
	if n, err := strconv.Atoi(got.Metadata[formatKey]); err == nil && n > wire.Format {
		return fmt.Errorf("it was written by a newer program (format %d, this one knows %d)", n, wire.Format)
	}
	if n := got.Metadata[partitionsKey]; n != "" && n != strconv.Itoa(Partitions) {
		return fmt.Errorf("it has %s partitions, this program has %d", n, Partitions)
	}
	none := &jetstream.SubjectTransformConfig{}
	g, w := *cmp.Or(got.SubjectTransform, none), *cmp.Or(want.SubjectTransform, none)
	switch {
	case g != w:
		return fmt.Errorf("it maps subjects to %q, wanted %q: the partition count is fixed when the stream is made", g.Destination, w.Destination)
	case !slices.Equal(slices.Sorted(slices.Values(got.Subjects)), slices.Sorted(slices.Values(want.Subjects))):
		return fmt.Errorf("it takes %q, wanted %q", got.Subjects, want.Subjects)
	case got.MaxMsgsPerSubject != want.MaxMsgsPerSubject && max(got.MaxMsgsPerSubject, want.MaxMsgsPerSubject) > 0:
		return fmt.Errorf("it keeps %d messages a subject, wanted %d", got.MaxMsgsPerSubject, want.MaxMsgsPerSubject)
	case got.Discard != want.Discard:
		return errors.New("it drops old messages when full, it must refuse new ones")
	case got.Retention != jetstream.LimitsPolicy:
		return errors.New("it drops what was read, it must keep it")
	}
	return nil
}
