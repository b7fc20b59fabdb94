package main

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/delivery"
)

// answerDeliveries adds the deliveries to what the running service answers.
func (a *app) answerDeliveries() error {
	g := a.micro.AddGroup("telltale.query")
	if err := g.AddEndpoint("left", micro.HandlerFunc(replying(a.answerLeft))); err != nil {
		return err
	}
	return g.AddEndpoint("deliveries", micro.HandlerFunc(replying(func(ctx context.Context, r micro.Request) error {
		list, err := delivery.All(ctx, a.log.Deliveries())
		if err != nil {
			return err
		}
		for i := range list {
			list[i].Raw = nil // the mail itself is not listed
		}
		return service.Reply(r, list)
	})))
}

// answerRetry lets deliveries be tried again where the queue is.
func (a *app) answerRetry() (stop func() error, err error) {
	m, err := micro.AddService(a.nc, micro.Config{Name: "telltale-deliveries", Version: "1.0.0", Description: "messages to people on their way"})
	if err != nil {
		return nil, fmt.Errorf("answering for the deliveries: %w", err)
	}
	g := m.AddGroup("telltale.query")
	err = g.AddEndpoint("retry", micro.HandlerFunc(replying(func(ctx context.Context, r micro.Request) error {
		var key string
		if err := json.Unmarshal(r.Data(), &key); err != nil {
			return fmt.Errorf("reading which delivery to try again: %w", err)
		}
		q := a.notify.Queue()
		if q == nil {
			return errors.New("retrying: another one tells people now")
		}
		if err := q.Retry(ctx, key); err != nil {
			return err
		}
		return service.Reply(r, []string{key})
	})))
	if err == nil {
		err = g.AddEndpoint("leave", micro.HandlerFunc(replying(a.takeLeave)))
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("answering for the deliveries: %w", err), m.Stop())
	}
	return m.Stop, nil
}

// replying has a handler reply with its error.
func replying(do func(context.Context, micro.Request) error) func(micro.Request) {
	return func(r micro.Request) {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		if err := do(ctx, r); err != nil {
			_ = r.Error("500", err.Error(), nil) // whoever asked is gone where this fails
		}
	}
}

func deliveriesCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var retry string
	var left bool
	cmd := &cobra.Command{
		Use:   "deliveries",
		Short: "List the messages to people: waiting, sent, or failed and why",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				if retry != "" {
					_, err := service.List[string](ctx, nc, "retry", retry)
					return err
				}
				if left {
					list, err := service.List[notify.Left](ctx, nc, "left", nil)
					return cli.Listing(s, c.JSON, list, err, "nobody asked for no more mails", leftLine)
				}
				list, err := service.List[delivery.Delivery](ctx, nc, "deliveries", nil)
				return cli.Listing(s, c.JSON, list, err, "no deliveries yet", deliveryLine)
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().BoolVar(&left, "left", false, "list who asked for no more mails of a kind, and since when")
	cmd.Flags().StringVar(&retry, "retry", "", "try the delivery with this key again")
	return cmd
}

func deliveryLine(d delivery.Delivery) string {
	line := fmt.Sprintf("%-8s %s  to %-28s %s", d.State, d.Time.Format("2006-01-02 15:04"), d.To, cmp.Or(d.Subject, d.Key))
	if d.LastError != "" {
		line += fmt.Sprintf("\n         after %d tries: %s\n         key %s", d.Attempts, d.LastError, d.Key)
	}
	return line
}
