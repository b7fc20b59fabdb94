package ask

import (
	"context"
	"fmt"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/engine/why"
)

func whyCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "why VEHICLE [RULE]",
		Short: "Tell why a rule or task of a vehicle stands as it does, or why it was not judged",
		Long: `Tell why a rule or task of a vehicle stands as it does: the value of each operand,
the baseline and its source, the events used, what was missing, when it changed last
and by which book; of a task, how its due point came about. Without RULE, all that
stands is told, and the rest listed.

It is asked of a running service or, with --rules, found from a file of events.`,
		Example: `  telltale why bus-07 "copper over baseline"
  telltale why bus-07 "engine oil" --rules fleet/rules --vehicles fleet/vehicles.yaml events.jsonl`,
		Args: cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			args, file, err := o.split(args, 1, 2, "why")
			if err != nil {
				return err
			}
			vehicle, rule := args[0], arg(args, 1)
			if file != "" {
				return whyFromFile(s, o, c.JSON, vehicle, rule, file)
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := service.Why.Ask(ctx, nc, service.Question{Vehicle: vehicle, Rule: rule})
				if err != nil {
					return cli.Lacking(err)
				}
				return whyAnswer(s, c.JSON, list, vehicle, rule)
			})
		},
	}
	c.Flags(cmd, s)
	o.flags(cmd, "folder of rule files; the last argument is then a file of events")
	return cmd
}

// whyFromFile folds the file and asks what came of it.
func whyFromFile(s cli.Env, o replayOptions, asJSON bool, vehicle, rule, path string) error {
	refused := 0
	p, err := foldFile(o, path, func(_ event.Event, out []engine.Output) {
		for _, o := range out {
			if o.Refused != nil && !o.Refused.Kept {
				refused++
			}
		}
	})
	if err != nil {
		return err
	}
	if refused > 0 {
		fmt.Fprintf(s.Err, "%d events of %s were refused; telltale replay --all lists them\n", refused, path)
	}
	return whyAnswer(s, asJSON, p.Why(vehicle, rule), vehicle, rule)
}

// whyAnswer prints the answers; where no rule was named, those that stand in full
// and the rest in a line each.
func whyAnswer(s cli.Env, asJSON bool, list []why.Why, vehicle, rule string) error {
	switch {
	case len(list) == 0 && rule != "":
		return cli.Hint(fmt.Errorf("vehicle %q has no rule, task or follow-up %q, or is not registered", vehicle, rule), "telltale why "+vehicle+" lists what it has")
	case len(list) == 0:
		return cli.Hint(fmt.Errorf("no vehicle %q is registered", vehicle), "vehicles are named as in the subject of their events")
	case asJSON:
		return cli.Listing(s, true, list, nil, "", nil)
	}
	for i := range list {
		y := &list[i]
		line := y.Text()
		if rule == "" && !y.Stands() {
			line = y.Headline()
		}
		if i > 0 && (rule != "" || y.Stands() || list[i-1].Stands()) {
			line = "\n" + line
		}
		if _, err := fmt.Fprintln(s.Out, line); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	return nil
}
