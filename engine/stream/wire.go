package stream

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
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
	Transition *engine.Transition `json:"transition,omitempty"`
	Refused    *engine.Refusal    `json:"refused,omitempty"`
	NotJudged  *engine.NotJudged  `json:"-"`
	Turn       *engine.TurnPart   `json:"turn,omitempty"`
	Survey     *engine.SurveyPart `json:"survey,omitempty"`
}

type body struct {
	Message
	Outputs []json.RawMessage `json:"outputs,omitempty"`
}

const (
	// maxOutput is how long one output may be in JSON, maxBody all those of a
	// message: the server takes 1 MiB with the headers.
	maxOutput = 512 << 10
	maxBody   = 768 << 10
	// createdHeader is the time at which the log of events was made.
	createdHeader = "Telltale-Log"
)

// messages divides what one event said into messages. The division is a function
// of the outputs, so that it comes out the same after a restart.
func messages(epoch, event uint64, out []engine.Output) ([]body, error) {
	var list []body
	size, n := 0, 0
	for _, o := range out {
		for _, p := range pieces(o) {
			b, err := encodeOutput(p)
			if err != nil {
				return nil, err
			}
			if len(list) == 0 || size+len(b) > maxBody {
				list = append(list, body{Message: Message{Epoch: epoch, Event: event, N: n}})
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
	switch {
	case o.NotJudged != nil:
		return nil
	case o.Survey != nil:
		return surveyPieces(o.Survey)
	case o.Turn == nil:
		return []engine.Output{o}
	}
	t := o.Turn
	if len(t.Items)+len(t.Alarms) <= 1 {
		return []engine.Output{o}
	}
	if b, err := json.Marshal(t); err == nil && len(b) <= maxOutput {
		return []engine.Output{o}
	}
	i, a := len(t.Items)/2, len(t.Alarms)/2
	first, second := *t, *t
	first.Items, first.Alarms = t.Items[:i:i], t.Alarms[:a:a]
	second.Items, second.Alarms, second.Vehicles = t.Items[i:], t.Alarms[a:], 0
	return append(pieces(engine.Output{Turn: &first}), pieces(engine.Output{Turn: &second})...)
}

// encodeOutput writes one output. A transition that is too long for a message
// loses its evidence, which a rule's author can make of any length.
func encodeOutput(o engine.Output) ([]byte, error) {
	b, err := marshal(said(o))
	if err != nil {
		return nil, fmt.Errorf("encoding what an event said: %w", err)
	}
	if len(b) <= maxOutput {
		return b, nil
	}
	if t := o.Transition; t != nil {
		c := *t
		c.Evidence, c.Events = nil, c.Events[:min(len(c.Events), 100)]
		c.Message, c.Advise = cut(c.Message), cut(c.Advise)
		b, err = marshal(said{Transition: &c})
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

func marshal(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// after is the place up to which outputs are out once m is stored.
func (b *body) after() place { return place{b.Event, b.N + len(b.Outputs)} }

// place is a position in the outputs of a partition: n outputs of the event at
// seq, and all of those before.
type place struct {
	Seq uint64 `json:"seq"`
	N   int    `json:"n"`
}

func (p place) before(o place) bool { return p.Seq < o.Seq || p.Seq == o.Seq && p.N < o.N }

func decodeBody(b []byte) (body, error) {
	var m body
	if err := json.Unmarshal(b, &m); err != nil {
		return m, fmt.Errorf("reading what a partition said: %w", err)
	}
	return m, nil
}

// decodeMessage reads a message of ALARMS.
func decodeMessage(subject string, seq uint64, data []byte) (Message, error) {
	b, err := decodeBody(data)
	if err != nil {
		return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
	}
	m := b.Message
	m.Seq = seq
	if m.Partition, err = strconv.Atoi(subject[strings.LastIndexByte(subject, '.')+1:]); err != nil {
		return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
	}
	for _, raw := range b.Outputs {
		var s said
		if err := json.Unmarshal(raw, &s); err != nil {
			return Message{}, fmt.Errorf("message %d on %q: %w", seq, subject, err)
		}
		m.Outputs = append(m.Outputs, engine.Output(s))
	}
	return m, nil
}

func alarmMsg(b body, created time.Time) (*nats.Msg, error) {
	data, err := marshal(b)
	if err != nil {
		return nil, fmt.Errorf("encoding what a partition says: %w", err)
	}
	m := &nats.Msg{Data: data, Header: nats.Header{}}
	m.Header.Set(createdHeader, stamp(created))
	return m, nil
}
