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
	"telltale/rules/english"
)

// answerDeliveries adds the deliveries, and who asked for no more, to what the running
// service answers.
func (a *app) answerDeliveries() error {
	g := a.micro.AddGroup("telltale.query")
	if err := g.AddEndpoint("left", replying(func(ctx context.Context, _ []byte) ([]notify.Left, error) {
		return notify.WhoLeft(ctx, a.log.Deliveries())
	})); err != nil {
		return err
	}
	return g.AddEndpoint("deliveries", replying(func(ctx context.Context, _ []byte) ([]delivery.Delivery, error) {
		list, err := delivery.All(ctx, a.log.Deliveries())
		for i := range list {
			list[i].Raw = nil // the mail itself is not listed
		}
		return list, err
	}))
}

// answerRetry lets deliveries be tried again, and mails be left, where the queue is.
func (a *app) answerRetry() (stop func() error, err error) {
	m, err := micro.AddService(a.nc, micro.Config{Name: "telltale-deliveries", Version: "1.0.0", Description: "messages to people on their way"})
	if err != nil {
		return nil, fmt.Errorf("answering questions about messages: %w", err)
	}
	g := m.AddGroup("telltale.query")
	if err = g.AddEndpoint("retry", replying(a.retry)); err == nil {
		err = g.AddEndpoint("leave", replying(a.takeLeave))
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("answering questions about messages: %w", err), m.Stop())
	}
	return m.Stop, nil
}

// retry has the delivery with a key tried again.
func (a *app) retry(ctx context.Context, request []byte) ([]string, error) {
	var key string
	if err := json.Unmarshal(request, &key); err != nil {
		return nil, fmt.Errorf("reading which delivery to try again: %w", err)
	}
	q := a.notify.Queue()
	if q == nil {
		return nil, errors.New("retrying: another replica sends the messages now")
	}
	return []string{key}, q.Retry(ctx, key)
}

// leaving is who wants no more of which kind, or with Back again.
type leaving struct {
	Person string      `json:"person"`
	Kind   notify.Kind `json:"kind"`
	Back   bool        `json:"back,omitempty"`
}

// askLeave has whoever tells people note it, which may be another replica than the
// one whose page was opened.
func (a *app) askLeave(ctx context.Context, person string, kind notify.Kind, back bool) error {
	_, err := service.List[leaving](ctx, a.nc, "leave", leaving{person, kind, back})
	return err
}

// takeLeave notes in the notifier's checkpoint who wants no more of what.
func (a *app) takeLeave(ctx context.Context, request []byte) ([]leaving, error) {
	var l leaving
	if err := json.Unmarshal(request, &l); err != nil {
		return nil, fmt.Errorf("reading who unsubscribes: %w", err)
	}
	at, err := a.now(ctx)
	if err != nil {
		return nil, err
	}
	return []leaving{l}, a.notify.Leave(ctx, l.Person, l.Kind, l.Back, at)
}

// replying has a request replied to with the list that do makes of it, or the error.
func replying[T any](do func(ctx context.Context, request []byte) ([]T, error)) micro.HandlerFunc {
	return service.Outside(func(r micro.Request) {
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		list, err := do(ctx, r.Data())
		if err == nil {
			err = service.Reply(r, list)
		}
		if err != nil {
			_ = r.Error("500", err.Error(), nil) // whoever asked is gone where this fails
		}
	})
}

func deliveriesCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var retry string
	var left bool
	cmd := &cobra.Command{
		Use:   "deliveries",
		Short: "List messages to people: waiting, sent, or failed and why",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				if retry != "" {
					_, err := service.List[string](ctx, nc, "retry", retry)
					return err
				}
				if left {
					list, err := service.List[notify.Left](ctx, nc, "left", nil)
					return cli.Listing(s, c.JSON, list, err, "nobody has unsubscribed", leftLine)
				}
				list, err := service.List[delivery.Delivery](ctx, nc, "deliveries", nil)
				return cli.Listing(s, c.JSON, list, err, "no messages yet", deliveryLine)
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().BoolVar(&left, "left", false, "list who has unsubscribed from which mails, and when")
	cmd.Flags().StringVar(&retry, "retry", "", "try to deliver the message with this key again")
	return cmd
}

func deliveryLine(d delivery.Delivery) string {
	line := fmt.Sprintf("%-8s %s  to %-28s %s", d.State, d.Time.Format("2006-01-02 15:04"), d.To, cmp.Or(d.Subject, d.Key))
	if d.LastError != "" {
		line += fmt.Sprintf("\n         after %s: %s\n         key %s", english.Plural(d.Attempts, "attempt"), d.LastError, d.Key)
	}
	return line
}

func leftLine(l notify.Left) string {
	return fmt.Sprintf("%s unsubscribed from %s on %s", l.Person, l.Kind, l.Since.Format("2006-01-02 15:04"))
}
