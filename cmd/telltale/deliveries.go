package main

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"
	"github.com/spf13/cobra"

	"telltale/engine/stream"
	"telltale/notify"
)

// answerDeliveries adds to what the running service answers: its deliveries, and
// trying one again.
func (a *app) answerDeliveries() error {
	g := a.micro.AddGroup("telltale.query")
	handle := func(name string, do func(ctx context.Context, r micro.Request) error) error {
		return g.AddEndpoint(name, micro.HandlerFunc(func(r micro.Request) {
			ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
			defer cancel()
			if err := do(ctx, r); err != nil {
				_ = r.Error("500", err.Error(), nil) // whoever asked is gone where this fails
			}
		}))
	}
	err := handle("deliveries", func(ctx context.Context, r micro.Request) error {
		list, err := notify.Deliveries(ctx, a.log.Deliveries())
		if err != nil {
			return err
		}
		for i := range list {
			list[i].Raw = nil // the mail itself is not listed
		}
		return stream.Reply(r, list)
	})
	if err != nil {
		return err
	}
	return handle("retry", func(ctx context.Context, r micro.Request) error {
		var key string
		if err := json.Unmarshal(r.Data(), &key); err != nil {
			return fmt.Errorf("reading which delivery to try again: %w", err)
		}
		if err := a.queue.Retry(ctx, key); err != nil {
			return err
		}
		return stream.Reply(r, []string{key})
	})
}

func deliveriesCommand(s streams) *cobra.Command {
	var c client
	var retry string
	cmd := &cobra.Command{
		Use:   "deliveries",
		Short: "List the messages to people: waiting, sent, or failed and why",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				if retry != "" {
					_, err := stream.List[string](ctx, nc, "retry", retry)
					return err
				}
				list, err := stream.List[notify.Delivery](ctx, nc, "deliveries", nil)
				return listing(s, c.json, list, err, "no deliveries yet", deliveryLine)
			})
		},
	}
	c.flags(cmd)
	cmd.Flags().StringVar(&retry, "retry", "", "try the delivery with this key again")
	return cmd
}

func deliveryLine(d notify.Delivery) string {
	line := fmt.Sprintf("%-8s %s  to %-28s %s", d.State, d.Time.Format("2006-01-02 15:04"), d.To, cmp.Or(d.Subject, d.Key))
	if d.LastError != "" {
		line += fmt.Sprintf("\n         after %d tries: %s\n         key %s", d.Attempts, d.LastError, d.Key)
	}
	return line
}
