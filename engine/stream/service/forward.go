package service

import (
	"context"
	"fmt"
	"strconv"

	"github.com/nats-io/nats.go/jetstream"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/record"
)

// A vehicle that was renamed is folded by the partition of its first name. What comes
// under another name lies in the log where that name's partition reads it; that one puts
// a copy into the log, under the first name, before it goes on. So the vehicle's events
// are in one order for all, a restart only puts the same copy there once more, which is
// known by its identity, and no partition need read what is another's. The log keeps
// both, each under its subject. A fold of all partitions in one, as a replay is, takes the
// first where the service takes the copy, some milliseconds later; what either takes then
// is the same, so only a tick between the two could tell them apart.

// hopsHeader counts, on a copy, the names by which an event was handed over.
const hopsHeader = "Telltale-Names"

// handOver puts what belongs to vehicles of other partitions into the log, and gives back
// the other outputs.
func (w *worker) handOver(ctx context.Context, m jetstream.Msg, out []engine.Output) ([]engine.Output, error) {
	hops, _ := strconv.Atoi(m.Headers().Get(hopsHeader)) // 0 where it is no copy
	kept := out[:0:0]
	for _, o := range out {
		if o.Forward == nil {
			kept = append(kept, o)
			continue
		}
		if hops >= record.MostNames {
			id := o.Forward.ID
			kept = append(kept, engine.Output{Refused: &alarm.Refusal{Refused: "the vehicle's earlier names lead in a circle", Vehicle: o.Forward.Vehicle, Event: &id, Time: o.Forward.Recorded}})
			continue
		}
		if err := w.log.PublishCopy(ctx, *o.Forward, map[string]string{hopsHeader: strconv.Itoa(hops + 1)}); err != nil {
			return nil, fmt.Errorf("handing event %q of %q over to vehicle %q: %w", o.Forward.ID.ID, o.Forward.ID.Source, o.Forward.Vehicle, err)
		}
	}
	return kept, nil
}
