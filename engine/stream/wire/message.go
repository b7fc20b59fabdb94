// Package wire is how the partitions' outputs, checkpoints and records are written
// into the streams, and read again. What one program wrote, a newer one reads; what
// a newer one wrote is refused (Format).
package wire

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/fleet"
)

// Message is one message on telltale.alarm.<p>: what folding one event said, or a
// part of that, or the claim with which an owner begins. In JSON:
//
//	{"epoch":1,"seq":123,"n":0,"outputs":[{"transition":{…}},{"refused":{…}},{"turn":{…}}]}
//	{"epoch":1,"seq":123,"n":2,"claim":{"owner":"…","time":"…"}}
//
// The last message on the subject says up to where the partition's outputs are
// out: all of the events before seq, and of that event those before N +
// len(Outputs).
type Message struct {
	Partition int    `json:"-"`
	Seq       uint64 `json:"-"` // of this message in ALARMS
	// Epoch counts how often the log of events was made anew or went back.
	Epoch uint64 `json:"epoch"`
	// Event is the sequence of the event in the log, N the place of the first
	// output among those of the event.
	Event   uint64          `json:"seq"`
	N       int             `json:"n"`
	Outputs []engine.Output `json:"-"`
	// More says that further messages with outputs of the event follow.
	More bool `json:"more,omitempty"`
	// Reconciled says that the outputs are not the event's own: they lead from what
	// the program before said up to it to what this one makes of the same events.
	Reconciled bool   `json:"reconciled,omitempty"`
	Claim      *Claim `json:"claim,omitempty"`
}

// Claim says who owns the partition from here on.
type Claim struct {
	Owner   string    `json:"owner"`
	Program string    `json:"program,omitempty"`
	Replica string    `json:"replica,omitempty"`
	Time    time.Time `json:"time"` // by the owner's clock
	// Back says that the log went back, and how: a new epoch begins.
	Back string `json:"back,omitempty"`
}

// said is an engine.Output as it is written. What was not judged is counted and
// not published.
type said struct {
	Transition *alarm.Transition `json:"transition,omitempty"`
	Refused    *alarm.Refusal    `json:"refused,omitempty"`
	NotJudged  *alarm.NotJudged  `json:"-"`
	Turn       *engine.TurnPart  `json:"turn,omitempty"`
	Survey     *fleet.SurveyPart `json:"survey,omitempty"`
	Forward    *event.Event      `json:"-"` // it goes into the log of events
}

// Body is a Message with its outputs as they are written.
type Body struct {
	Message
	Outputs []json.RawMessage `json:"outputs,omitempty"`
}

const (
	// MaxOutput is how long one output may be in JSON, in bytes, maxBody all those of
	// a message: the server takes 1 MiB with the headers.
	MaxOutput = 512 << 10
	maxBody   = 768 << 10
	// CreatedHeader is the time at which the log of events was made.
	CreatedHeader = "Telltale-Log"
)

// Messages divides what one event said into messages. The division is a function
// of the outputs, so that it comes out the same after a restart.
func Messages(epoch, event uint64, out []engine.Output) ([]Body, error) {
	var list []Body
	size, n := 0, 0
	for _, o := range out {
		for _, p := range pieces(o) {
			b, err := encodeOutput(p)
			if err != nil {
				return nil, err
			}
			if len(list) == 0 || size+len(b) > maxBody {
				list = append(list, Body{Message: Message{Epoch: epoch, Event: event, N: n}})
				size = 0
			}
			last := &list[len(list)-1]
			last.Outputs = append(last.Outputs, b)
			size += len(b) + 1
			n++
		}
	}
	for i := range list {
		list[i].More = i < len(list)-1
	}
	return list, nil
}

// pieces is the output, or the parts that a long list is published in, or none
// for what is not published.
func pieces(o engine.Output) []engine.Output {
	var list any
	var first, second engine.Output
	switch {
	case o.NotJudged != nil, o.Forward != nil:
		return nil
	case o.Survey != nil && len(o.Survey.Samples) > 1:
		half, a, b := len(o.Survey.Samples)/2, *o.Survey, *o.Survey
		a.Samples, b.Samples, b.Made, b.Finished = a.Samples[:half:half], b.Samples[half:], nil, nil
		list, first.Survey, second.Survey = o.Survey, &a, &b
	case o.Turn != nil && len(o.Turn.Items)+len(o.Turn.Alarms) > 1:
		items, alarms, a, b := len(o.Turn.Items)/2, len(o.Turn.Alarms)/2, *o.Turn, *o.Turn
		a.Items, a.Alarms = a.Items[:items:items], a.Alarms[:alarms:alarms]
		b.Items, b.Alarms, b.Vehicles = b.Items[items:], b.Alarms[alarms:], 0
		list, first.Turn, second.Turn = o.Turn, &a, &b
	default:
		return []engine.Output{o}
	}
	if b, err := json.Marshal(list); err == nil && len(b) <= MaxOutput {
		return []engine.Output{o}
	}
	return append(pieces(first), pieces(second)...)
}

// encodeOutput writes one output. A transition that is too long for a message
// loses its evidence, which a rule's author can make of any length.
func encodeOutput(o engine.Output) ([]byte, error) {
	b, err := Marshal(said(o))
	if err != nil {
		return nil, fmt.Errorf("encoding what an event said: %w", err)
	}
	if len(b) <= MaxOutput {
		return b, nil
	}
	if t := o.Transition; t != nil {
		c := *t
		c.DropEvidence()
		c.Events = c.Events[:min(len(c.Events), 100)]
		c.Message, c.Advise = cut(c.Message), cut(c.Advise)
		b, err = Marshal(said{Transition: &c})
	}
	if err == nil && len(b) > maxBody {
		err = fmt.Errorf("%d bytes, a message has room for %d", len(b), maxBody)
	}
	if err != nil {
		return nil, fmt.Errorf("encoding what an event said: %w", err)
	}
	return b, nil
}

func cut(s string) string {
	const most = 16 << 10
	if len(s) <= most {
		return s
	}
	return strings.ToValidUTF8(s[:most], "") + "…"
}

// Marshal writes JSON on one line, with <, > and & as they are.
func Marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// After is up to where outputs are out once b is stored.
func (b *Body) After() Progress { return Progress{b.Event, b.N + len(b.Outputs)} }

// Progress is how far the outputs of a partition are out: N outputs of the event at
// Seq, and all of those before.
type Progress struct {
	Seq uint64 `json:"seq"`
	N   int    `json:"n"`
}

// Before reports whether p is further back than o.
func (p Progress) Before(o Progress) bool { return p.Seq < o.Seq || p.Seq == o.Seq && p.N < o.N }

// DecodeBody reads a message of ALARMS, and leaves its outputs as they are written.
func DecodeBody(b []byte) (Body, error) {
	var m Body
	if err := json.Unmarshal(b, &m); err != nil {
		return m, fmt.Errorf("reading what a partition said: %w", err)
	}
	return m, nil
}

// DecodeMessage reads a message of ALARMS.
func DecodeMessage(subject string, seq uint64, data []byte) (Message, error) {
	b, err := DecodeBody(data)
	if err != nil {
		return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
	}
	m := b.Message
	m.Seq = seq
	if m.Partition, err = strconv.Atoi(subject[strings.LastIndexByte(subject, '.')+1:]); err != nil {
		return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
	}
	for _, raw := range b.Outputs {
		o, err := DecodeOutput(raw)
		if err != nil {
			return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
		}
		m.Outputs = append(m.Outputs, o)
	}
	return m, nil
}

// DecodeOutput reads one output of a message.
func DecodeOutput(raw []byte) (engine.Output, error) {
	var s said
	err := json.Unmarshal(raw, &s)
	return engine.Output(s), err
}

// AlarmSubject is where a partition's outputs are published.
func AlarmSubject(partition int) string { return fmt.Sprintf("telltale.alarm.%d", partition) }

// AlarmMsg is b as it is published, with the time at which the log of events was made.
func AlarmMsg(b Body, created time.Time) (*nats.Msg, error) {
	data, err := Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("encoding what a partition says: %w", err)
	}
	m := &nats.Msg{Data: data, Header: nats.Header{}}
	m.Header.Set(CreatedHeader, Stamp(created))
	return m, nil
}

// Skip leaves out what is published already.
func (b Body) Skip(out Progress) Body {
	switch {
	case out.Seq > b.Event:
		b.Outputs = nil
	case out.Seq == b.Event && out.N > b.N:
		n := min(out.N-b.N, len(b.Outputs))
		b.N, b.Outputs = b.N+n, b.Outputs[n:]
	}
	return b
}

// Joined puts the parts of a turn's list together.
func (m Message) Joined() Message {
	var out []engine.Output
	for _, o := range m.Outputs {
		if n := len(out); n > 0 && o.Turn != nil && out[n-1].Turn != nil &&
			o.Turn.Digest == out[n-1].Turn.Digest && o.Turn.Date == out[n-1].Turn.Date {
			t := *out[n-1].Turn
			t.Items, t.Alarms = append(t.Items, o.Turn.Items...), append(t.Alarms, o.Turn.Alarms...)
			t.Vehicles += o.Turn.Vehicles
			out[n-1].Turn = &t
			continue
		}
		out = append(out, o)
	}
	m.Outputs = out
	return m
}

// Stamp writes a time as the headers and claims have it.
func Stamp(t time.Time) string { return t.UTC().Format(time.RFC3339Nano) }
