package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/spf13/cobra"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/service"
)

func sendCommand(s streams) *cobra.Command {
	var c client
	cmd := &cobra.Command{
		Use:   "send [FILE|-]",
		Short: "Publish events, one CloudEvent a line, to a running service",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			in := s.in
			if len(args) == 1 && args[0] != "-" {
				f, err := os.Open(args[0])
				if err != nil {
					return exit{2, err}
				}
				defer f.Close()
				in = f
			}
			return c.ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return send(ctx, s, nc, in) })
		},
	}
	c.flags(cmd)
	return cmd
}

// send publishes what it can read and says what it cannot; each event is stored
// when it counts as sent.
func send(ctx context.Context, s streams, nc *nats.Conn, in io.Reader) error {
	js, err := jetstream.New(nc)
	if err != nil {
		return err
	}
	sent, refused := 0, 0
	p := &publisher{js: js, last: map[int]uint64{}, ids: map[engine.ID]int{}}
	err = intake.ReadFile(in, func(line int, ev engine.Event, err error) error {
		if err == nil && ev.Kind.Internal() {
			err = fmt.Errorf("a %s is written by the service alone", ev.Kind)
		}
		if err != nil {
			refused++
			fmt.Fprintln(s.out, refusalLine(&engine.Refusal{Refused: err.Error(), Line: line}))
			return nil
		}
		sent++
		p.ids[ev.ID] = line
		return p.publish(ctx, ev)
	})
	if err == nil {
		err = p.wait(ctx)
	}
	if err != nil {
		return hinted{fmt.Errorf("sending, after %d events were read: %w", sent, err), "send the same again: what is stored already is not stored twice"}
	}
	byService, err := p.refused(ctx, s, nc)
	if err != nil {
		return fmt.Errorf("asking what the service refused: %w", err)
	}
	refused += byService
	known := ""
	if p.known > 0 { // within two minutes the server drops what has the same identity, unread
		known = fmt.Sprintf(" %d sent before,", p.known)
	}
	fmt.Fprintf(s.err, "send: %d events stored,%s %d refused\n", sent-p.known, known, refused)
	if refused > 0 {
		return exit{1, fmt.Errorf("%d events were refused", refused)}
	}
	return nil
}

// publisher publishes as a gateway does: each event under its subject, with its
// identity as message id, kept until it is acknowledged.
type publisher struct {
	js      jetstream.JetStream
	pending []sending
	known   int // acknowledged as stored by an earlier message with the same identity

	// For who asks what became of it; nil otherwise. The sequence of the last event
	// stored for each partition, and each event's line.
	last map[int]uint64
	ids  map[engine.ID]int
}

// sending is an event that is not acknowledged yet.
type sending struct {
	jetstream.PubAckFuture
	partition int
}

// inFlight bounds the events that are not acknowledged yet.
const inFlight = 256

func (p *publisher) publish(ctx context.Context, ev engine.Event) error {
	body, err := intake.Encode(ev)
	if err != nil {
		return err
	}
	f, err := p.js.PublishAsync(intake.Subject(ev), body, jetstream.WithMsgID(ev.ID.Source+"/"+ev.ID.ID))
	if err != nil {
		return err
	}
	if p.pending = append(p.pending, sending{f, stream.Partition(ev.Vehicle)}); len(p.pending) >= inFlight {
		return p.wait(ctx)
	}
	return nil
}

// wait returns once everything published is stored.
func (p *publisher) wait(ctx context.Context) error {
	for _, f := range p.pending {
		select {
		case ack := <-f.Ok():
			if ack.Duplicate {
				p.known++
			}
			if p.last != nil {
				p.last[f.partition] = max(p.last[f.partition], ack.Sequence)
			}
		case err := <-f.Err():
			return err
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(30 * time.Second):
			return errors.New("no answer from the server after 30 s")
		}
	}
	p.pending = p.pending[:0]
	return nil
}

// refused waits until the service has folded what was sent, and prints which of it
// it could not use.
func (p *publisher) refused(ctx context.Context, s streams, nc *nats.Conn) (n int, err error) {
	for ready := time.NewTicker(50 * time.Millisecond); ; {
		h, err := service.QueryHealth(ctx, nc)
		if err != nil {
			return 0, err
		}
		if p.folded(h) {
			break
		}
		select {
		case <-ctx.Done():
			return 0, ctx.Err()
		case <-ready.C:
		}
	}
	list, err := service.Refused.Ask(ctx, nc, service.Question{})
	for _, r := range list {
		if r.Event == nil {
			continue
		}
		if line, ok := p.ids[*r.Event]; ok {
			r.Line = line
			fmt.Fprintln(s.out, refusalLine(&r))
			if !r.Kept {
				n++
			}
		}
	}
	return n, err
}

// folded reports whether each partition is past the last event sent to it.
func (p *publisher) folded(h service.Health) bool {
	if h.Unanswered != nil {
		return false
	}
	for _, part := range h.Partitions {
		if part.Seq < p.last[part.Partition] && part.Fault == "" {
			return false
		}
	}
	return true
}
