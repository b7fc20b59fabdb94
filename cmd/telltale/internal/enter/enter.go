// Package enter is the commands by which people enter something: work, a reading, a
// sheet, an answer, what is taken back. Each asks the service first what would follow,
// which is its dry run, and sends only what would be taken whole.
package enter

import (
	"context"
	"fmt"
	"io"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
)

// Commands are record, import, undo, answer, meter, out and back.
func Commands(s cli.Env) []*cobra.Command {
	return []*cobra.Command{recordCommand(s), importCommand(s), undoCommand(s), answerCommand(s), meterCommand(s), outCommand(s), backCommand(s)}
}

// options are those of every command that enters something.
type options struct {
	cli.Client
	dry bool
}

func (o *options) flags(cmd *cobra.Command, s cli.Env) {
	o.Flags(cmd, s)
	cmd.Flags().BoolVar(&o.dry, "dry", false, "only show what would follow")
}

// run asks the service; a dry run also the folder of one that is stopped.
func (o *options) run(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	if o.dry {
		return o.AskOrOpen(ctx, do)
	}
	return o.Ask(ctx, do)
}

// entered is what became of entries, or would.
type entered struct {
	events []event.Event
	would  []engine.WouldEntry // one for each
	of     map[string]engine.Would
}

// enter asks what would follow, and sends the events unless one of them would be refused
// or this is a dry run. What is known already is not sent again; what was taken out and
// is entered again gets another identity.
func (o *options) enter(ctx context.Context, s cli.Env, nc *nats.Conn, events []event.Event) (*entered, error) {
	e, err := wouldBe(ctx, nc, o.Units(), events)
	if err != nil {
		return nil, err
	}
	if err := e.refused(s, o.JSON); err != nil {
		return nil, err
	}
	if o.dry {
		return e, nil
	}
	return e, e.send(ctx, s, nc)
}

// wouldBe asks what would follow of events. Those of which the identity was taken out get
// another, so that they count. So does an answer that was given already: it is given now,
// and between the two another may have undone it within the same second.
func wouldBe(ctx context.Context, nc *nats.Conn, units []string, events []event.Event) (*entered, error) {
	e := &entered{events: append([]event.Event{}, events...)}
	for n := 2; ; n++ {
		var err error
		if e.would, e.of, err = service.QueryWould(ctx, nc, units, e.events...); err != nil {
			return nil, err
		}
		again := false
		for i := range e.would {
			if e.would[i].TakenOut || e.would[i].Known && events[i].Kind == event.AnswerEvent {
				again = true
				if e.events[i], err = job.Again(events[i], n); err != nil {
					return nil, err
				}
				e.events[i].Line = events[i].Line
			}
		}
		if !again {
			return e, nil
		}
	}
}

// refused prints what would be refused; where anything would be, nothing is entered.
func (e *entered) refused(s cli.Env, asJSON bool) error {
	n := 0
	for i := range e.would {
		r := e.would[i].Refused
		if r == nil {
			continue
		}
		n++
		r.Line = e.events[i].Line
		if asJSON {
			if err := cli.Encode(s.Out, r); err != nil {
				return fmt.Errorf("writing the answer: %w", err)
			}
		} else if _, err := fmt.Fprintln(s.Out, cli.RefusalLine(r)); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	switch {
	case n == 0:
		return nil
	case len(e.events) == 1:
		return cli.Exit(1, fmt.Errorf("it would be refused; nothing was entered"))
	}
	return cli.Exit(1, fmt.Errorf("%d of %d would be refused; nothing was entered", n, len(e.events)))
}

// send stores what is new. A refusal can only come of something that happened since it was
// asked.
func (e *entered) send(ctx context.Context, s cli.Env, nc *nats.Conn) error {
	p, err := gateway.Send(ctx, nc, e.fresh()...)
	if err != nil {
		return cli.Hint(fmt.Errorf("sending: %w", err), "enter the same again: nothing is stored twice")
	}
	list, err := p.Refused(ctx)
	if err != nil {
		return fmt.Errorf("asking what the service made of it: %w", err)
	}
	refused := 0
	for i := range list {
		if !list[i].Kept {
			refused++
			fmt.Fprintln(s.Out, cli.RefusalLine(&list[i]))
		}
	}
	if refused > 0 {
		return cli.Exit(1, fmt.Errorf("the service refused %d of %d", refused, len(e.events)))
	}
	return nil
}

// fresh are the events that are not known yet.
func (e *entered) fresh() []event.Event {
	var out []event.Event
	for i := range e.events {
		if !e.would[i].Known {
			out = append(out, e.events[i])
		}
	}
	return out
}

// nothingEntered ends a dry run.
func (o *options) nothingEntered(s cli.Env) {
	if o.dry {
		fmt.Fprintln(s.Err, "dry run: nothing was entered")
	}
}

func printed(w io.Writer, lines ...string) error {
	for _, line := range lines {
		if _, err := fmt.Fprintln(w, cli.Printable(line)); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	return nil
}
