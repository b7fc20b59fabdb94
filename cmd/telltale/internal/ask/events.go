package ask

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules/english"
)

type eventsOptions struct {
	cli.Client
	vehicle string
	all     bool
}

func eventsCommand(s cli.Env) *cobra.Command {
	var o eventsOptions
	cmd := &cobra.Command{
		Use:   "events",
		Short: "Export the log of events, one a line",
		Long: `Export the log of events in order, one CloudEvent a line, for telltale replay, for another
service, or to keep. Vehicle registrations are included, so a replay of the file needs no
register. Events that the service could not read are left out and counted.

--all adds what the service wrote itself: the ticks of its clock, and notes of which rules
came into force when. A replay of such a file uses these ticks instead of its own, and
skips the notes. Without them, a replay takes work that was entered late as entered on
the day it was done.`,
		Example: `  telltale events --dir fleet > events.jsonl
  telltale replay --rules fleet/rules events.jsonl`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return o.AskOrOpen(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.export(ctx, s, nc) })
		},
	}
	o.Flags(cmd, s)
	_ = cmd.Flags().MarkHidden("json") // every line is JSON
	cmd.Flags().StringVar(&o.vehicle, "vehicle", "", "only the events of this vehicle")
	cmd.Flags().BoolVar(&o.all, "all", false, "also what the service itself wrote")
	return cmd
}

func (o *eventsOptions) export(ctx context.Context, s cli.Env, nc *nats.Conn) error {
	var homes gateway.Homes
	if o.vehicle != "" {
		id, err := VehicleMeant(ctx, nc, o.vehicle)
		if err != nil {
			return cli.Exit(2, err)
		}
		if homes, err = gateway.HomesOf(ctx, service.At{Conn: nc}); err != nil {
			return err
		}
		o.vehicle = homes.Home(id)
	}
	h, err := service.QueryHealth(ctx, nc)
	if err != nil {
		return err
	}
	log, err := stream.Open(ctx, nc, stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	last, err := log.LastEvent(ctx)
	if err != nil {
		return err
	}
	x := exported{out: bufio.NewWriter(s.Out), bar: cli.NewCounter(s.Err, last)}
	err = log.EachEvent(ctx, o.all, func(e stream.Logged) error {
		if e.Err == nil && !h.EventsClock {
			e.Err = intake.InFuture(e.Event, e.Stored)
		}
		return x.take(e, o.vehicle, homes)
	})
	x.bar.End()
	if err := errors.Join(err, x.out.Flush()); err != nil {
		return fmt.Errorf("writing the events: %w", err)
	}
	left := ""
	if x.unread > 0 {
		left = fmt.Sprintf("; %d that could not be read are left out: telltale refused lists them", x.unread)
	}
	fmt.Fprintf(s.Err, "events: %s%s%s\n", english.Plural(x.written, "event"), span(x.first, x.last), left)
	return nil
}

// exported writes events, and counts them.
type exported struct {
	out             *bufio.Writer
	bar             *cli.Counter
	written, unread int
	first, last     time.Time
}

// take writes an event if it is of the vehicle, by whichever of its names, or of all.
func (x *exported) take(e stream.Logged, vehicle string, homes gateway.Homes) error {
	x.bar.At(e.Seq)
	switch {
	case e.Err != nil:
		x.unread++
		return nil
	case vehicle != "" && e.Event.Vehicle != "" && homes.Home(e.Event.Vehicle) != vehicle:
		return nil
	}
	if x.written++; x.first.IsZero() {
		x.first = e.Stored
	}
	x.last = e.Stored
	x.out.Write(e.Text)
	return x.out.WriteByte('\n')
}

// span is from when to when, as they were stored.
func span(first, last time.Time) string {
	if first.IsZero() {
		return ""
	}
	return ", stored from " + first.Format(time.DateOnly) + " to " + last.Format(time.DateOnly)
}
