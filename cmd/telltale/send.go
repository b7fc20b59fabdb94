package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
)

func sendCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	cmd := &cobra.Command{
		Use:   "send [FILE|-]",
		Short: "Send events, one CloudEvent a line, to a running service",
		Long: `Send a file of events, one CloudEvent a line, to a running service; - or no FILE reads the
standard input. If a line cannot be used, the reason is shown and the other lines are sent.
Sending a file again changes nothing.`,
		Example: `  telltale send --dir fleet events.jsonl`,
		Args:    cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			in := s.In
			if len(args) == 1 && args[0] != "-" {
				f, err := os.Open(args[0])
				if err != nil {
					return cli.Exit(2, err)
				}
				defer f.Close()
				in = f
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return send(ctx, s, nc, in) })
		},
	}
	c.Flags(cmd, s)
	return cmd
}

// send publishes what it can read and says what it cannot; each event is stored
// when it counts as sent.
func send(ctx context.Context, s cli.Env, nc *nats.Conn, in io.Reader) error {
	p, err := gateway.New(service.At{Conn: nc})
	if err != nil {
		return err
	}
	sent, refused := 0, 0
	err = intake.ReadFile(in, func(line int, ev event.Event, err error) error {
		if err == nil && ev.Kind.Internal() {
			err = fmt.Errorf("only the service itself writes a %s", ev.Kind)
		}
		if err != nil {
			refused++
			fmt.Fprintln(s.Out, cli.RefusalLine(&alarm.Refusal{Refused: err.Error(), Line: line}))
			return nil
		}
		sent++
		return p.Send(ctx, ev)
	})
	if err == nil {
		err = p.Wait(ctx)
	}
	if err != nil {
		return cli.Hint(fmt.Errorf("sending, after %d events were read: %w", sent, err), "send the same again: nothing is stored twice")
	}
	byService, err := printRefused(ctx, s, p)
	if err != nil {
		return fmt.Errorf("asking what the service refused: %w", err)
	}
	refused += byService
	known := ""
	if p.Known > 0 {
		known = fmt.Sprintf(" %d sent before,", p.Known)
	}
	fmt.Fprintf(s.Err, "send: %d events stored,%s %d refused\n", sent-p.Known, known, refused)
	if refused > 0 {
		return cli.Exit(1, fmt.Errorf("%d events were refused", refused))
	}
	return nil
}

// printRefused prints which of what was sent the service could not use, and counts
// the events of which nothing was.
func printRefused(ctx context.Context, s cli.Env, p *gateway.Sender) (n int, err error) {
	list, err := p.Refused(ctx)
	for _, r := range list {
		fmt.Fprintln(s.Out, cli.RefusalLine(&r))
		if !r.Kept {
			n++
		}
	}
	return n, err
}
