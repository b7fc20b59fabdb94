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
	"telltale/engine/event"
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

// enter asks what would follow, and sends the events unless one of them would be refused
// or this is a dry run. What is known already is not sent again; what was taken out and
// is entered again gets another identity.
func (o *options) enter(ctx context.Context, s cli.Env, nc *nats.Conn, events []event.Event) (*gateway.Entered, error) {
	at := service.At{Conn: nc}
	e, err := gateway.WouldBe(ctx, at, o.Units(), events)
	if err != nil {
		return nil, err
	}
	if err := wouldBeRefused(s, e, o.JSON); err != nil {
		return nil, err
	}
	if o.dry {
		return e, nil
	}
	return e, send(ctx, s, at, e)
}

// wouldBeRefused prints what would be refused; where anything would be, nothing is entered.
func wouldBeRefused(s cli.Env, e *gateway.Entered, asJSON bool) error {
	n := 0
	for i := range e.Would {
		r := e.Would[i].Refused
		if r == nil {
			continue
		}
		n++
		r.Line = e.Events[i].Line
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
	case len(e.Events) == 1:
		return cli.Exit(1, fmt.Errorf("it would be refused; nothing was entered"))
	}
	return cli.Exit(1, fmt.Errorf("%d of %d would be refused; nothing was entered", n, len(e.Events)))
}

// send stores what is new. A refusal can only come of something that happened since it was
// asked.
func send(ctx context.Context, s cli.Env, at service.At, e *gateway.Entered) error {
	refused, err := e.Send(ctx, at)
	if err != nil {
		return cli.Hint(err, "enter the same again: nothing is stored twice")
	}
	for i := range refused {
		fmt.Fprintln(s.Out, cli.RefusalLine(&refused[i]))
	}
	if len(refused) > 0 {
		return cli.Exit(1, fmt.Errorf("the service refused %d of %d", len(refused), len(e.Events)))
	}
	return nil
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
