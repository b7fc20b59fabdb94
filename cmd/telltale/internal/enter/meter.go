package enter

import (
	"context"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/rules/english"
)

func meterCommand(s cli.Env) *cobra.Command {
	cmd := &cobra.Command{Use: "meter", Short: "Enter that an odometer or hour meter was replaced"}
	cmd.AddCommand(replacedCommand(s))
	return cmd
}

func replacedCommand(s cli.Env) *cobra.Command {
	var o options
	var r job.Replaced
	cmd := &cobra.Command{
		Use:   "replaced VEHICLE",
		Short: "Enter that an instrument was replaced, so that distances continue across both",
		Long: `Enter that an odometer or hour meter was replaced: what the old one showed last, and what
the new one showed first. Distances and hours then continue across both, and due points
are given as the new one will show them. Readings that seemed to go back fit again.`,
		Example: `  telltale meter replaced van-1 --meter odometer --old 245003km --new 12km --on 2031-02-10
  telltale meter replaced gritter-1 --meter hours --old 5120h --new 0h --dry`,
		Args: cli.Wants(1, 1, "on which vehicle?", "telltale meter replaced van-1 --meter odometer --old 245003km --new 12km"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.replaced(ctx, s, nc, args[0], r) })
		},
	}
	o.flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&r.Meter, "meter", job.Odometer, "which meter")
	f.StringVar(&r.Old, "old", "", "what the old one showed last, such as 245003km (required)")
	f.StringVar(&r.New, "new", "", "what the new one showed first, such as 12km (required)")
	f.StringVar(&r.On, "on", "", "when, such as 2031-02-10 or 2031-02-10T14:00 in the vehicle's time zone (default: now)")
	_, _ = cmd.MarkFlagRequired("old"), cmd.MarkFlagRequired("new") // the flags are defined above
	return cmd
}

func (o *options) replaced(ctx context.Context, s cli.Env, nc *nats.Conn, vehicle string, r job.Replaced) error {
	f, err := fleetOf(ctx, nc)
	if err != nil {
		return err
	}
	id, known, err := f.vehicle(vehicle)
	if err != nil {
		return typedWrong(err, "telltale meter replaced")
	}
	r.Vehicle = id
	ev, err := r.Event(known)
	if err != nil {
		return typedWrong(err, strings.TrimSpace("telltale meter replaced "+english.Typed(id)))
	}
	e, err := o.enter(ctx, s, nc, []event.Event{ev})
	if err != nil {
		return err
	}
	return o.told(s, e)
}
