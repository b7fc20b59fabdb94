package service

import (
	"context"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/stream"
	"telltale/engine/stream/jet"
)

// memServer is a JetStream server in memory, as far as a partition's owner uses one.
type memServer struct {
	mu      sync.Mutex
	moved   *sync.Cond // something was stored, or somebody stopped reading
	streams map[string]*memStream
	cuts    int // of the power: what was on its way to the server is gone with it
}

type memStream struct {
	name    string
	created time.Time
	single  bool      // one message a subject
	msgs    []*memMsg // by sequence from 1; nil where it went
}

type memMsg struct {
	nats.Msg
	seq uint64
	at  time.Time
}

func newMemServer() *memServer {
	s := &memServer{streams: map[string]*memStream{}}
	s.moved = sync.NewCond(&s.mu)
	for _, name := range []string{stream.EventsStream, stream.AlarmsStream, stream.StateStream, stream.BooksStream} {
		s.streams[name] = &memStream{name: name, created: time.Now(), single: name == stream.StateStream || name == stream.BooksStream}
	}
	return s
}

func (s *memServer) of(subject string) *memStream {
	switch {
	case strings.HasPrefix(subject, "telltale.alarm."):
		return s.streams[stream.AlarmsStream]
	case strings.HasPrefix(subject, "telltale.state."):
		return s.streams[stream.StateStream]
	case strings.HasPrefix(subject, "telltale.book."):
		return s.streams[stream.BooksStream]
	}
	return s.streams[stream.EventsStream]
}

// matches reports whether a subject is one of the filters', which may hold * and >.
func matches(filters []string, subject string) bool {
	words := strings.Split(subject, ".")
next:
	for _, f := range filters {
		parts := strings.Split(f, ".")
		for i, p := range parts {
			if p == ">" {
				return i < len(words)
			}
			if i >= len(words) || p != "*" && p != words[i] {
				continue next
			}
		}
		if len(parts) == len(words) {
			return true
		}
	}
	return false
}

// last is the last message on the filters, or nil.
func (st *memStream) last(filters ...string) *memMsg {
	for i := len(st.msgs) - 1; i >= 0; i-- {
		if m := st.msgs[i]; m != nil && matches(filters, m.Subject) {
			return m
		}
	}
	return nil
}

// store keeps a message, if it follows the one that it expects.
func (s *memServer) store(m *nats.Msg) (*jetstream.PubAck, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	st := s.of(m.Subject)
	before := st.last(m.Subject)
	if want := m.Header.Get(jetstream.ExpectedLastSubjSeqHeader); want != "" {
		last := uint64(0)
		if before != nil {
			last = before.seq
		}
		if want != strconv.FormatUint(last, 10) {
			return nil, wrongLast()
		}
	}
	if before != nil && st.single {
		st.msgs[before.seq-1] = nil
	}
	header := nats.Header{}
	for k, v := range m.Header {
		header[k] = append([]string(nil), v...)
	}
	kept := &memMsg{Msg: nats.Msg{Subject: m.Subject, Header: header, Data: append([]byte(nil), m.Data...)}, seq: uint64(len(st.msgs) + 1), at: time.Now()}
	st.msgs = append(st.msgs, kept)
	s.moved.Broadcast()
	return &jetstream.PubAck{Stream: st.name, Sequence: kept.seq}, nil
}

func wrongLast() error {
	return &jetstream.APIError{Code: 400, ErrorCode: jetstream.JSErrCodeStreamWrongLastSequence, Description: "wrong last sequence"}
}

// loseTail forgets the last n messages of STATE, which is not synced, as a power
// failure would.
func (s *memServer) loseTail(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.cuts++
	st := s.streams[stream.StateStream]
	st.msgs = st.msgs[:max(0, len(st.msgs)-n)]
}

// memClient is one process's connection to the server, with what goes wrong on it.
type memClient struct {
	jetstream.JetStream // what is not used is not there
	server              *memServer

	mu  sync.Mutex
	rnd *rand.Rand // nil: nothing goes wrong
	// left is how many calls the process has to live: in the middle of the last one,
	// before or after it takes effect, it dies. 0 is for ever.
	left  int
	after bool
	dead  chan struct{}
}

func newMemClient(s *memServer, rnd *rand.Rand) *memClient {
	return &memClient{server: s, rnd: rnd, dead: make(chan struct{})}
}

func (c *memClient) log() *stream.Log {
	of := func(name string) *jet.Stream {
		return &jet.Stream{JS: c, S: &memHandle{c: c, name: name}, Patience: 20 * time.Second}
	}
	return &stream.Log{JS: c, Logger: quietLog, Events: of(stream.EventsStream), Alarms: of(stream.AlarmsStream), State: of(stream.StateStream), Books: of(stream.BooksStream)}
}

// The fates of a call.
const (
	served   = iota
	lost     // on the way there
	unheard  // done, and the answer is lost
	delayed  // done long after the caller has given up, when another one may be the owner
	paused   // the process stands still for hours in the middle of the call, and wakes with it done
	denied   // though nobody else wrote, as a replicated stream does now and then
	crashing // the process dies before the call takes effect
	crashed  // the process dies after
)

// fate draws what becomes of a call.
func (c *memClient) fate(write bool) int {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.left > 0 {
		if c.left--; c.left == 0 {
			select {
			case <-c.dead:
			default:
				close(c.dead)
			}
			if c.after {
				return crashed
			}
			return crashing
		}
	}
	if c.rnd == nil {
		return served
	}
	switch n := c.rnd.IntN(100); {
	case n < 3:
		return lost
	case n < 5 && write:
		return unheard
	case n < 7 && write:
		return delayed
	case n < 9 && write:
		return denied
	case n < 10 && write && c.rnd.IntN(3) == 0:
		return paused
	}
	return served
}

// gone reports whether the process is dead: nothing that it does takes effect.
func (c *memClient) gone() bool {
	select {
	case <-c.dead:
		return true
	default:
		return false
	}
}

// PublishMsg stores the message, unless that goes wrong.
func (c *memClient) PublishMsg(ctx context.Context, m *nats.Msg, _ ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	if c.gone() {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	switch c.fate(true) {
	case lost, crashing:
	case unheard, crashed:
		_, _ = c.server.store(m) // nobody hears of it
	case delayed:
		c.storeLate(m)
	case paused:
		select {
		case <-time.After(c.draw(longest)):
			return c.server.store(m)
		case <-c.dead:
		}
	case denied:
		return nil, wrongLast()
	default:
		return c.server.store(m)
	}
	<-ctx.Done()
	return nil, ctx.Err()
}

// longest is how long a call or a process may be late.
const longest = 4 * time.Hour

func (c *memClient) draw(below time.Duration) time.Duration {
	c.mu.Lock()
	defer c.mu.Unlock()
	return time.Duration(c.rnd.Int64N(int64(below)))
}

// storeLate stores the message after the caller's patience with one call, and half of
// the time much later, unless the power is cut until then.
func (c *memClient) storeLate(m *nats.Msg) {
	late := *m
	late.Header = nats.Header{}
	for k, v := range m.Header {
		late.Header[k] = append([]string(nil), v...)
	}
	after := jet.CallTimeout + 2*time.Second
	if more := c.draw(2 * longest); more < longest {
		after += more
	}
	c.server.mu.Lock()
	cuts := c.server.cuts
	c.server.mu.Unlock()
	time.AfterFunc(after, func() {
		c.server.mu.Lock()
		gone := c.server.cuts != cuts
		c.server.mu.Unlock()
		if !gone {
			_, _ = c.server.store(&late) // nobody hears of it
		}
	})
}

// PublishMsgAsync does what PublishMsg does; its answer is there at once or, as with
// the library's own limit, after jet.CallTimeout.
func (c *memClient) PublishMsgAsync(m *nats.Msg, _ ...jetstream.PublishOpt) (jetstream.PubAckFuture, error) {
	f := &memFuture{ok: make(chan *jetstream.PubAck, 1), err: make(chan error, 1)}
	go func() {
		ctx, cancel := context.WithTimeout(context.Background(), jet.CallTimeout)
		defer cancel()
		ack, err := c.PublishMsg(ctx, m)
		switch {
		case err == nil:
			f.ok <- ack
		case ctx.Err() != nil:
			f.err <- jetstream.ErrAsyncPublishTimeout
		default:
			f.err <- err
		}
	}()
	return f, nil
}

type memFuture struct {
	jetstream.PubAckFuture
	ok  chan *jetstream.PubAck
	err chan error
}

func (f *memFuture) Ok() <-chan *jetstream.PubAck { return f.ok }
func (f *memFuture) Err() <-chan error            { return f.err }

// memHandle is a stream as a process sees it.
type memHandle struct {
	jetstream.Stream
	c    *memClient
	name string
}

// read makes a call that changes nothing.
func (h *memHandle) read(ctx context.Context, do func(st *memStream)) error {
	if h.c.gone() || h.c.fate(false) != served {
		<-ctx.Done()
		return ctx.Err()
	}
	h.c.server.mu.Lock()
	defer h.c.server.mu.Unlock()
	do(h.c.server.streams[h.name])
	return nil
}

func found(m *memMsg) (*jetstream.RawStreamMsg, error) {
	if m == nil {
		return nil, jetstream.ErrMsgNotFound
	}
	return &jetstream.RawStreamMsg{Subject: m.Subject, Sequence: m.seq, Header: m.Header, Data: m.Data, Time: m.at}, nil
}

// GetLastMsgForSubject and the others are what the interface asks for.
func (h *memHandle) GetLastMsgForSubject(ctx context.Context, subject string) (*jetstream.RawStreamMsg, error) {
	var m *memMsg
	if err := h.read(ctx, func(st *memStream) { m = st.last(subject) }); err != nil {
		return nil, err
	}
	return found(m)
}

func (h *memHandle) GetMsg(ctx context.Context, seq uint64, _ ...jetstream.GetMsgOpt) (*jetstream.RawStreamMsg, error) {
	var m *memMsg
	if err := h.read(ctx, func(st *memStream) {
		if seq >= 1 && seq <= uint64(len(st.msgs)) {
			m = st.msgs[seq-1]
		}
	}); err != nil {
		return nil, err
	}
	return found(m)
}

func (h *memHandle) Info(ctx context.Context, _ ...jetstream.StreamInfoOpt) (*jetstream.StreamInfo, error) {
	info := h.CachedInfo()
	return info, h.read(ctx, func(st *memStream) {
		info.State = jetstream.StreamState{Msgs: uint64(len(st.msgs)), FirstSeq: 1, LastSeq: uint64(len(st.msgs))}
	})
}

func (h *memHandle) CachedInfo() *jetstream.StreamInfo {
	return &jetstream.StreamInfo{Config: jetstream.StreamConfig{Name: h.name}, Created: h.c.server.streams[h.name].created}
}

func (h *memHandle) OrderedConsumer(ctx context.Context, cfg jetstream.OrderedConsumerConfig) (jetstream.Consumer, error) {
	return &memReader{h: h, filters: cfg.FilterSubjects, next: cfg.OptStartSeq}, h.read(ctx, func(*memStream) {})
}

// memReader is an ordered consumer and its iterator.
type memReader struct {
	jetstream.Consumer
	h       *memHandle
	filters []string
	next    uint64
	stopped bool // guarded by the server's mutex
}

func (r *memReader) CachedInfo() *jetstream.ConsumerInfo { return nil }

func (r *memReader) Messages(...jetstream.PullMessagesOpt) (jetstream.MessagesContext, error) {
	return &memIterator{memReader: r}, nil
}

type memIterator struct {
	jetstream.MessagesContext
	*memReader
}

// Next waits for the next message.
func (r *memIterator) Next(...jetstream.NextOpt) (jetstream.Msg, error) {
	s := r.h.c.server
	s.mu.Lock()
	defer s.mu.Unlock()
	for {
		st := s.streams[r.h.name]
		for !r.stopped && !r.h.c.gone() && r.next <= uint64(len(st.msgs)) {
			m := st.msgs[r.next-1]
			r.next++
			if m == nil || !matches(r.filters, m.Subject) {
				continue
			}
			pending := uint64(0)
			for _, later := range st.msgs[m.seq:] {
				if later != nil && matches(r.filters, later.Subject) {
					pending++
				}
			}
			return &memDelivered{m: m, pending: pending}, nil
		}
		if r.stopped {
			return nil, jetstream.ErrMsgIteratorClosed
		}
		s.moved.Wait()
	}
}

// Stop ends the reading.
func (r *memIterator) Stop() {
	s := r.h.c.server
	s.mu.Lock()
	defer s.mu.Unlock()
	r.stopped = true
	s.moved.Broadcast()
}

type memDelivered struct {
	jetstream.Msg
	m       *memMsg
	pending uint64
}

func (d *memDelivered) Metadata() (*jetstream.MsgMetadata, error) {
	return &jetstream.MsgMetadata{Sequence: jetstream.SequencePair{Stream: d.m.seq}, Timestamp: d.m.at, NumPending: d.pending}, nil
}
func (d *memDelivered) Data() []byte         { return d.m.Data }
func (d *memDelivered) Headers() nats.Header { return d.m.Header }
func (d *memDelivered) Subject() string      { return d.m.Subject }

func (m *memMsg) String() string { return fmt.Sprintf("%d on %s: %s", m.seq, m.Subject, m.Data) }
