package stream

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine/intake"
)

// Sent are the latest events of a vehicle, by all its names, latest first and no more than
// most: those that were stored since a time, with a sequence under before (0 for all). more
// reports that there are others.
func (l *Log) Sent(ctx context.Context, names []string, since time.Time, before uint64, most int) (list []Logged, more bool, err error) {
	from, err := l.Events.FirstSince(ctx, since)
	if err != nil {
		return nil, false, err
	}
	for _, name := range names {
		err := l.Events.Each(ctx, from, fmt.Sprintf("telltale.event.%d.%s.*", Partition(name), intake.Token(name)), func(m jetstream.Msg, seq uint64) error {
			if before != 0 && seq >= before {
				return nil
			}
			meta, err := m.Metadata()
			if err != nil {
				return fmt.Errorf("reading the log: %w", err)
			}
			e := Logged{Seq: seq, Stored: meta.Timestamp}
			e.Event, e.Err = intake.DecodeMessage(m.Subject(), m.Data())
			var line bytes.Buffer
			if json.Compact(&line, m.Data()) == nil {
				e.Text = line.Bytes()
			}
			list = append(list, e)
			if len(list) > 2*most+100 {
				list, more = latestSent(list, most), true
			}
			return nil
		})
		if err != nil {
			return nil, false, err
		}
	}
	more = more || len(list) > most
	return latestSent(list, most), more, nil
}

// latestSent are the latest of them, latest first.
func latestSent(list []Logged, most int) []Logged {
	slices.SortFunc(list, func(a, b Logged) int { return cmp.Compare(b.Seq, a.Seq) })
	return list[:min(len(list), most)]
}
