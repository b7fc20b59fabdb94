package intake

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"telltale/engine/event"
	"telltale/engine/fleet"
)

// ReadFile reads a file of events, one a line, and visits each with its line
// number (also in ev.Line) or with the reason why it is refused; a line that
// cannot be used, whatever its length, does not end the reading. Blank lines are
// skipped, a byte order mark before the first is dropped. An error from visit
// ends the reading and is returned as it is.
func ReadFile(r io.Reader, visit func(line int, ev event.Event, err error) error) error {
	return eachLine(r, func(n int, text []byte, long bool) error {
		if long {
			return visit(n, event.Event{Line: n}, fmt.Errorf("line longer than %d bytes", MaxBytes))
		}
		if len(text) == 0 {
			return nil
		}
		ev, err := Decode(text)
		ev.Line = n
		return visit(n, ev, err)
	})
}

// Own is what a file of events has of what a fold makes by itself where the file
// has none.
type Own struct{ Ticks, Baselines bool }

// Holds reports whether a file of events has ticks, and baselines with their figures, of
// its own, and so is to be folded with those alone.
func Holds(r io.Reader) (own Own, err error) {
	err = eachLine(r, func(_ int, text []byte, _ bool) error {
		// Few lines are either; an escape may hide the word.
		if !bytes.Contains(text, []byte("tick")) && !bytes.Contains(text, []byte(".baseline.")) && !bytes.Contains(text, []byte(`\u`)) {
			return nil
		}
		if ev, err := Decode(text); err == nil {
			own.Ticks = own.Ticks || ev.Kind == event.TickEvent
			set, ok := ev.Data.(*fleet.BaselineData) // of a log, the figures are not in the event
			own.Baselines = own.Baselines || ok && set.Set != nil
		}
		if own.Ticks && own.Baselines {
			return errFound
		}
		return nil
	})
	if errors.Is(err, errFound) {
		err = nil
	}
	return own, err
}

var errFound = errors.New("found")

// eachLine visits the lines without the white space around them. A line over
// MaxBytes that is no baseline event comes without its text.
func eachLine(r io.Reader, visit func(n int, text []byte, long bool) error) error {
	br := bufio.NewReaderSize(r, MaxBytes+4<<10)
	for n := 1; ; n++ {
		line, err := br.ReadSlice('\n')
		long := false
		if most := limitOf(line); errors.Is(err, bufio.ErrBufferFull) {
			line = bytes.Clone(line)
			for errors.Is(err, bufio.ErrBufferFull) {
				var more []byte
				more, err = br.ReadSlice('\n')
				if long = long || len(line)+len(more) > most; !long {
					line = append(line, more...)
				}
			}
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return fmt.Errorf("reading line %d: %w", n, err)
		}
		if n == 1 {
			line = bytes.TrimPrefix(line, []byte("\xEF\xBB\xBF"))
		}
		text := bytes.TrimSpace(line)
		if long || len(text) > limitOf(text) {
			long, text = true, nil
		}
		if err := visit(n, text, long); err != nil {
			return err
		}
		if err != nil {
			return nil
		}
	}
}

// Tick is the event that makes it at o'clock. The same moment always gives the
// same identity, so a tick that is written twice is one tick.
func Tick(at time.Time) event.Event {
	at = at.UTC()
	ev := event.Event{
		ID: event.ID{Source: "/clock", ID: at.Format(time.RFC3339Nano)}, Kind: event.TickEvent, Time: at, Recorded: at,
	}
	ev.Digest, _ = digest(ev) // a tick holds nothing that JSON cannot
	return ev
}

// Ticks makes of a file's events the log that a fold reads. Each midnight UTC that
// the recorded time passes is a tick, folded before the line that passes it; a file
// that holds ticks is folded with those alone.
type Ticks struct {
	own    bool
	latest time.Time // the greatest recorded time so far, zero before the first event
}

// NewTicks begins a file; own says that it holds ticks (see Holds).
func NewTicks(own bool) *Ticks { return &Ticks{own: own} }

// Before returns the ticks to fold before ev: the midnights after the greatest
// recorded time so far and at or before ev's. There are none before the first
// event. A late report, recorded earlier than one before it, passes none, nor does an event
// at the zero of Unix time: a register was read before any event had told the time.
func (t *Ticks) Before(ev event.Event) []event.Event {
	if ev.Recorded.Unix() == 0 {
		return nil
	}
	out := t.pass(ev.Recorded)
	if t.own {
		return nil
	}
	return out
}

// Until returns the ticks after the last event, up to that day's midnight UTC and
// including it. It goes on from a file's own ticks, too. Before the first event
// there are none, since there is nothing to begin from.
func (t *Ticks) Until(date time.Time) []event.Event {
	if t.latest.IsZero() {
		return nil
	}
	return t.pass(date.UTC().Truncate(day))
}

func (t *Ticks) pass(to time.Time) []event.Event {
	from := t.latest
	if !to.After(from) {
		return nil
	}
	t.latest = to
	if from.IsZero() {
		return nil
	}
	var out []event.Event
	for m := from.UTC().Truncate(day).Add(day); !m.After(to); m = m.Add(day) {
		out = append(out, Tick(m))
	}
	return out
}
