package ask

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/chart"
	"telltale/engine/event"
	"telltale/engine/gauge"
	"telltale/engine/stream/service"
	"telltale/rules/english"
	"telltale/rules/source"
)

func measuresCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var o replayOptions
	var picture string
	cmd := &cobra.Command{
		Use:   "measures VEHICLE [MEASURE]",
		Short: "Show what was measured by hand, and when parts will be worn out",
		Long: `Show what was measured by hand on a vehicle (tread, linings, voltages): the last values of
each measure that the rules name, how fast it changes, and where it reaches the limits of
the rules and of the tasks that are due by it. With MEASURE, only that one.

telltale record VEHICLE --measure "front lining=6.5mm" enters values.

The running service answers; with --rules, a file of events is run instead.`,
		Example: `  telltale measures bus-07
  telltale measures bus-07 "front lining" --chart lining.svg`,
		Args: cli.Wants(1, 3, "which vehicle?", "telltale measures bus-07"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.json = c.JSON
			args, file, err := o.split(args, 1, 2, "measures")
			if err != nil {
				return err
			}
			show := func(list []gauge.Measured) error {
				return measuredAnswer(s, c.JSON, list, args[0], arg(args, 1), picture)
			}
			if file != "" {
				p, err := foldFile(s, o, file, func(event.Event, []engine.Output) {})
				if err != nil {
					return err
				}
				vehicle, err := meantIn(p, args[0])
				if err != nil {
					return err
				}
				return show(p.Measured(vehicle, true))
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := listOf(ctx, nc, service.Measured, service.Question{Vehicle: args[0], Units: c.Units()})
				if err != nil {
					return cli.Lacking(err)
				}
				return show(list)
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().StringVar(&picture, "chart", "", "also draw the measure into this file, .svg or .png; name the measure if there are several")
	o.flags(cmd, "folder of rule files; the last argument is then a file of events")
	return cmd
}

// measuredAnswer prints what was measured: of the measure that was named or, without one,
// of those that have a value or a limit.
func measuredAnswer(s cli.Env, asJSON bool, list []gauge.Measured, vehicle, measure, picture string) error {
	if len(list) == 0 {
		return cli.Hint(fmt.Errorf("vehicle %q is not registered, or no rule file names what is measured by hand", vehicle), "measures: {front lining: mm} at the top of a rule file names a measure")
	}
	var names []string
	for _, m := range list {
		names = append(names, m.Measure)
	}
	list = slices.DeleteFunc(list, func(m gauge.Measured) bool {
		if measure != "" {
			return english.Folded(m.Measure) != english.Folded(measure)
		}
		return len(m.Points) == 0 && len(m.Limits) == 0
	})
	if len(list) == 0 && measure != "" {
		return cli.Exit(2, cli.Hint(fmt.Errorf("the rules name no measure %q", measure), DidYouMean(source.Near(measure, names), names)))
	}
	if picture != "" {
		if len(list) != 1 {
			return cli.Exit(2, cli.Hint(fmt.Errorf("%q has %d measures; a chart shows one", vehicle, len(list)), "telltale measures "+english.Typed(vehicle)+" MEASURE --chart "+picture+" with one of "+strings.Join(names, ", ")))
		}
		if err := writePicture(picture, "fewer than two values have a meter value", func() ([]byte, error) { return chart.WearSVG(list[0]) }, func() ([]byte, error) { return chart.WearPNG(list[0]) }); err != nil {
			return err
		}
	}
	return cli.Listing(s, asJSON, list, nil, "nothing was measured by hand yet", func(m gauge.Measured) string { return m.Text() })
}
