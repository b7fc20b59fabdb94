package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/engine"
	"telltale/engine/stream"
)

func dueCommand(s streams) *cobra.Command {
	var c client
	var q engine.DueQuery
	cmd := &cobra.Command{
		Use:   "due",
		Short: "The due list of a running service: overdue, due, soon, by what to do first",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := stream.QueryDue(ctx, nc, q)
				return listing(s, c.json, list, err, "nothing is due", dueLine)
			})
		},
	}
	c.flags(cmd)
	cmd.Flags().StringVar(&q.Vehicle, "vehicle", "", "only this vehicle")
	cmd.Flags().IntVar(&q.Ahead, "days", 0, "also what is likely to come due within so many days")
	return cmd
}

// dueLine is a line of the due list: how urgent, which vehicle, what, why.
func dueLine(d engine.DueItem) string {
	what := d.Title
	if d.Component != "" {
		what += " (" + d.Component + ")"
	}
	stage := d.Stage
	if stage == "normal" {
		stage = "later"
	}
	line := fmt.Sprintf("%-8s %-10s %s\n%20s%s", stage, d.Name, what, "", d.Why)
	if n := needs(d.Needs); n != "" {
		line += fmt.Sprintf("\n%20shave ready: %s", "", n)
	}
	if len(d.Cautions) > 0 {
		line += fmt.Sprintf("\n%20smind: %s", "", strings.Join(d.Cautions, ", "))
	}
	return line
}

func needs(list []engine.Need) string {
	var out []string
	for _, n := range list {
		switch {
		case n.Fluid != "" && n.Volume > 0:
			out = append(out, fmt.Sprintf("%.3g L %s", n.Volume, n.Fluid))
		case n.Fluid != "":
			out = append(out, n.Fluid)
		case n.Count > 1:
			out = append(out, fmt.Sprintf("%d × %s", n.Count, n.Part))
		default:
			out = append(out, n.Part)
		}
	}
	return strings.Join(out, ", ")
}

func alarmsCommand(s streams) *cobra.Command {
	var c client
	var vehicle string
	cmd := &cobra.Command{
		Use:   "alarms",
		Short: "What stands on a running service",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := stream.QueryAlarms(ctx, nc, vehicle)
				return listing(s, c.json, list, err, "no alarm stands", standingLine)
			})
		},
	}
	c.flags(cmd)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only this vehicle")
	return cmd
}

func standingLine(a engine.Standing) string {
	where := a.Vehicle
	if a.Component != "" {
		where += " " + a.Component
	}
	line := fmt.Sprintf("%-8s %-22s %s, %s since %s", a.To, where, a.Rule, a.Standing, a.Since.Format("2006-01-02"))
	if a.Message != "" {
		line += "\n         " + a.Message
	}
	return line
}

func refusedCommand(s streams) *cobra.Command {
	var c client
	var vehicle string
	cmd := &cobra.Command{
		Use:   "refused",
		Short: "The events that a running service could not use, and why",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return c.ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := stream.QueryRefused(ctx, nc, vehicle)
				if err := listing(s, c.json, list, err, "nothing was refused", func(r engine.Refusal) string { return refusalLine(&r) }); err != nil {
					return err
				}
				unknown, err := stream.List[string](ctx, nc, "unregistered", nil)
				strangers(s, unknown)
				return err
			})
		},
	}
	c.flags(cmd)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only this vehicle")
	return cmd
}
