package enter

import (
	"context"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/intake/job"
)

func outCommand(s cli.Env) *cobra.Command {
	return whole(s, "out of service", &cobra.Command{
		Use:   "out VEHICLE",
		Short: "Take a vehicle out of service: no messages about it until it is back",
		Long: `Take a vehicle out of service, for the winter or a long repair. There are no messages about
it until telltale back, which tells you what has come due in the meantime.`,
		Example: `  telltale out gritter-1 --why "laid up for the summer"`,
	})
}

func backCommand(s cli.Env) *cobra.Command {
	return whole(s, "in service", &cobra.Command{
		Use:     "back VEHICLE",
		Short:   "Put a vehicle back into service: everything is checked at once",
		Example: `  telltale back gritter-1 --dry`,
	})
}

// whole is a command for an answer to the whole vehicle.
func whole(s cli.Env, answer string, cmd *cobra.Command) *cobra.Command {
	var o options
	var a job.Answer
	cmd.Args = cli.Wants(1, 1, "which vehicle?", "telltale "+cmd.Name()+" gritter-1")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		return o.run(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
			f, err := fleetOf(ctx, nc)
			if err != nil {
				return err
			}
			vehicle, known, err := f.vehicle(args[0])
			if err != nil {
				return typedWrong(err, "telltale "+cmd.Name())
			}
			a.Vehicle, a.Answer = vehicle, answer
			ev, err := a.Event(known, nil)
			if err != nil {
				return typedWrong(err, "telltale "+cmd.Name())
			}
			e, err := o.enter(ctx, s, nc, []event.Event{ev})
			if err != nil {
				return err
			}
			return o.told(s, e)
		})
	}
	o.flags(cmd, s)
	cmd.Flags().StringVar(&a.By, "by", "", "who says so")
	cmd.Flags().StringVar(&a.Why, "why", "", "the reason")
	return cmd
}
