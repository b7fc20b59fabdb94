package stream

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/stream/wire"
)

// SaidAt is the place of one transition in what was said: the message in ALARMS, and which
// of its outputs. Later ones are greater; the zero SaidAt is before all.
type SaidAt struct {
	Seq uint64
	N   int
}

// Compare is negative where a comes before o.
func (a SaidAt) Compare(o SaidAt) int {
	return cmp.Or(cmp.Compare(a.Seq, o.Seq), cmp.Compare(a.N, o.N))
}

func (a SaidAt) before(o SaidAt) bool { return a.Compare(o) < 0 }

// String is what ParseSaidAt reads: "1042.3".
func (a SaidAt) String() string { return fmt.Sprintf("%d.%d", a.Seq, a.N) }

// ParseSaidAt reads a place; ok is false where the text is none.
func ParseSaidAt(text string) (a SaidAt, ok bool) {
	seq, n, _ := strings.Cut(text, ".")
	var err1, err2 error
	a.Seq, err1 = strconv.ParseUint(seq, 10, 64)
	a.N, err2 = strconv.Atoi(n)
	return a, err1 == nil && err2 == nil && a.N >= 0
}

// Said is one transition, and its place.
type Said struct {
	At SaidAt
	*alarm.Transition
}

// saidWithin is how many messages are read back for one question, a second's reading,
// however few of them are asked for.
const saidWithin = 100_000

// SaidBefore hands over what was said before a place, the latest first; before the zero
// SaidAt stands for all. It ends where do says so, or with whole where there is nothing
// older. Where neither comes within 100,000 messages it ends too; it gives back how far it
// read, and goes on from there if asked again.
func (l *Log) SaidBefore(ctx context.Context, before SaidAt, do func(Said) bool) (at SaidAt, whole bool, err error) {
	info, err := l.Alarms.Info(ctx)
	if err != nil {
		return before, false, err
	}
	first, end := info.State.FirstSeq, info.State.LastSeq+1
	if before == (SaidAt{}) || before.Seq >= end {
		before = SaidAt{Seq: end}
	}
	end = min(end, before.Seq+1)
	for step, read := uint64(256), uint64(0); end > first && read < saidWithin; step *= 2 {
		from := max(first, end-min(end, step))
		list, err := l.saidFrom(ctx, from, end)
		if err != nil {
			return before, false, err
		}
		for i := len(list) - 1; i >= 0; i-- {
			if list[i].At.before(before) && !do(list[i]) {
				return list[i].At, false, nil
			}
		}
		read += end - from
		end, before = from, SaidAt{Seq: from}
	}
	return before, end <= first, nil
}

var errFarEnough = errors.New("all that was asked for is read")

// saidFrom is what was said from a message on and before another.
func (l *Log) saidFrom(ctx context.Context, from, end uint64) (list []Said, err error) {
	last, n := uint64(0), 0
	err = l.EachOutput(ctx, from, "telltale.alarm.*", func(m wire.Message, o engine.Output) error {
		if m.Seq >= end {
			return errFarEnough
		}
		if m.Seq != last {
			last, n = m.Seq, 0
		}
		if o.Transition != nil {
			list = append(list, Said{SaidAt{m.Seq, n}, o.Transition})
		}
		n++
		return nil
	})
	if errors.Is(err, errFarEnough) {
		err = nil
	}
	return list, err
}
