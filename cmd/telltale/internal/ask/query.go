package ask

import (
	"context"
	"fmt"
	"slices"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/stream/service"
)

func alarmsCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var vehicle string
	var all bool
	cmd := &cobra.Command{
		Use:   "alarms",
		Short: "What stands on a running service",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := service.Alarms.Ask(ctx, nc, service.Question{Vehicle: vehicle})
				if err == nil && len(list) == 0 {
					err = UnknownVehicle(ctx, nc, vehicle)
				}
				before := len(list)
				if !all {
					list = slices.DeleteFunc(list, func(a alarm.Listed) bool { return a.To == "normal" })
				}
				err = cli.Listing(s, c.JSON, list, err, "no alarm stands", standingLine)
				switch n := before - len(list); {
				case n == 1:
					fmt.Fprintln(s.Err, "1 more has cleared and waits for an acknowledgement: --all lists it")
				case n > 1:
					fmt.Fprintf(s.Err, "%d more have cleared and wait for an acknowledgement: --all lists them\n", n)
				}
				return err
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only this vehicle")
	cmd.Flags().BoolVar(&all, "all", false, "also what has cleared and nobody has acknowledged")
	return cmd
}

func standingLine(a alarm.Listed) string {
	line := fmt.Sprintf("%-8s %-22s %s, %s since %s", a.To, cli.Where(a.Vehicle, a.Component), a.Rule, a.Standing, a.Since.Format("2006-01-02"))
	if a.Message != "" {
		line += "\n         " + a.Message
	}
	return line
}

func refusedCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var vehicle string
	cmd := &cobra.Command{
		Use:   "refused",
		Short: "The events that a running service could not use, and why",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := service.Refused.Ask(ctx, nc, service.Question{Vehicle: vehicle})
				if err := cli.Listing(s, c.JSON, list, err, "nothing was refused", func(r alarm.Refusal) string { return cli.RefusalLine(&r) }); err != nil {
					return err
				}
				unknown, err := service.Unregistered.Ask(ctx, nc, service.Question{})
				cli.Strangers(s, unknown)
				return cli.Lacking(err)
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only this vehicle")
	return cmd
}
