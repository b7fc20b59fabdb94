package ask

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/fleet"
	"telltale/engine/intake"
	"telltale/engine/lab"
	"telltale/engine/stream/service"
	"telltale/rules/analytes"
	"telltale/rules/english"
	"telltale/rules/unit"
)

func baselinesCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var o replayOptions
	var asEvent, limits bool
	cmd := &cobra.Command{
		Use:   "baselines [EVENTS.jsonl]",
		Short: "Show what is usual in the fleet, from its own samples",
		Long: `Show the baselines computed from the fleet's own samples: for each group its samples,
vehicles and fluid age, and why it is not used, if it is not; for each analyte the number
of results, mean, median, robust spread and percentiles, and which results were left out.

The running service answers; with --rules, the baselines are computed from a file of
events. --event then prints the event that puts them in force, to append to that file.

--limits compares the rules with the fleet. For each limit on one analyte's value, or on
how many times the baseline it is, it shows how many results reach the limit, and below
which value 90, 95 and 98 % of them stay. A limit that a tenth of healthy vehicles reach is
too low; one far above all of them warns too late. The decision is yours.`,
		Example: `  telltale baselines
  telltale baselines --rules fleet/rules --vehicles fleet/vehicles.yaml events.jsonl
  telltale baselines --limits
  telltale baselines --rules fleet/rules --event events.jsonl >> events.jsonl`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.json = c.JSON
			_, file, err := o.split(args, 0, 0, "baselines")
			if err != nil {
				return err
			}
			if asEvent && limits {
				return cli.Exit(2, cli.Hint(fmt.Errorf("--event and --limits do not go together"), "choose one"))
			}
			if file != "" {
				return baselinesFromFile(s, o, file, c.JSON, asEvent, limits)
			}
			if asEvent {
				return cli.Exit(2, cli.Hint(fmt.Errorf("the service puts its baselines in force by itself"), "--event goes with --rules and a file of events"))
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				h, err := service.QueryHealth(ctx, nc)
				if err != nil {
					return err
				}
				reads, _ := unit.SystemOf(h.Reads) // of settings that were read
				if limits {
					list, err := service.Limits.Ask(ctx, nc, service.Question{})
					return cli.Listing(s, c.JSON, list, err, noLimits, limitLines(reads))
				}
				list, err := service.Baselines.Ask(ctx, nc, service.Question{})
				return cli.Listing(s, c.JSON, list, err, "no baselines yet: no rule asks for them, or there are too few samples", fleetLines(reads))
			})
		},
	}
	c.Flags(cmd, s)
	o.flags(cmd, "folder of rule files; the argument is then a file of events")
	cmd.Flags().BoolVar(&asEvent, "event", false, "with --rules: print the event that puts the baselines in force")
	cmd.Flags().BoolVar(&limits, "limits", false, "compare the limits in the rules with the fleet's own results")
	return cmd
}

func baselinesFromFile(s cli.Env, o replayOptions, path string, asJSON, asEvent, limits bool) error {
	var end time.Time // the latest that the events, or the ticks after them, come to
	p, err := foldFile(s, o, path, func(ev event.Event, _ []engine.Output) {
		if ev.Recorded.After(end) {
			end = ev.Recorded
		}
	})
	if err != nil {
		return err
	}
	if p.Book().FleetDefinitions() == "" {
		return cli.Exit(2, cli.Hint(fmt.Errorf("no baseline of %s is made from the fleet", o.rules), "write `from: fleet` in a baseline"))
	}
	number := 1
	if _, set := p.Baselines(); set != nil {
		number = set.Number + 1
	}
	set := p.SurveyNow(end, number)
	if asEvent {
		line, err := intake.Encode(set.Event())
		if err == nil {
			_, err = fmt.Fprintf(s.Out, "%s\n", line)
		}
		if err != nil {
			return fmt.Errorf("writing the event: %w", err)
		}
		return nil
	}
	if limits {
		return cli.Listing(s, asJSON, fleet.Audit(set, p.Limits()), nil, noLimits, limitLines(o.asker(s).Units))
	}
	return cli.Listing(s, asJSON, set.List(), nil, "no samples to make baselines from", fleetLines(o.asker(s).Units))
}

// fleetLines writes a group as a terminal shows it, to who reads so.
func fleetLines(reads unit.System) func(fleet.Listing) string {
	return func(l fleet.Listing) string { return groupLines(l, english.Reader{Units: reads}) }
}

func groupLines(l fleet.Listing, who english.Reader) string {
	var b strings.Builder
	of := strings.Join(l.Of, ", ")
	if of == "" {
		of = "all together"
	}
	fmt.Fprintf(&b, "%s: %s\n", l.Baseline, of)
	fmt.Fprintf(&b, "  number %d of %s: %s of %s, drawn %s to %s", l.Number, l.On, english.Plural(l.Samples, "sample"), english.Plural(l.Vehicles, "vehicle"), l.Oldest, l.Newest)
	if l.Age != nil {
		kind := unit.Distance
		if l.Hours {
			kind = unit.Time
		}
		b.WriteString(", fluid of " + who.Amount(*l.Age, kind))
	}
	for i := range l.Analytes {
		b.WriteString("\n" + fleetAnalyteLines(&l.Analytes[i], who.Units))
	}
	return b.String()
}

func fleetAnalyteLines(a *fleet.Analyte, reads unit.System) string {
	in := shownIn(a.Analyte, reads)
	line := fmt.Sprintf("  %-18s %s", in.name, english.Plural(a.N, "result"))
	if a.Detected < a.N {
		line += fmt.Sprintf(", %d detected", a.Detected)
	}
	if !a.Usable {
		return line + "; not used: " + strings.Join(a.Unused, "; ")
	}
	for _, f := range []struct {
		what string
		span *lab.Span
	}{{"mean", in.span(a.Mean)}, {"median", in.span(a.Median)}, {"spread", in.spread(a.Spread)}, {"90 of 100 under", in.span(a.P90)}, {"95 of 100 under", in.span(a.P95)}} {
		if f.span != nil {
			line += fmt.Sprintf("; %s %s", f.what, spanWords(*f.span))
		}
	}
	if a.Most != nil {
		line += "; 19 of 20 stay under " + spanWords(*in.span(&lab.Span{Low: *a.Most, High: *a.Most})) + " (95 % sure, taken as lognormal)"
	}
	if in.unit != "" {
		line += " " + english.Unit(in.unit)
	}
	const below = "\n                     "
	for _, n := range a.Notes {
		line += below + n
	}
	for _, o := range a.Outliers {
		line += fmt.Sprintf("%sleft out: sample %s of %s %s, %s, %s", below, o.Number, o.Vehicle, o.Component, o.Drawn, english.Number(in.value(o.Value)))
	}
	return line
}

// spanWords is a figure, or the range that results below their limits leave open,
// with three figures that count.
func spanWords(s lab.Span) string {
	low, high := english.Figures(s.Low), english.Figures(s.High)
	if low != high {
		return low + " to " + high
	}
	return high
}

// shown is how somebody reads an analyte: its name, its unit, and its values in that.
type shown struct{ name, unit, of string }

func shownIn(analyte string, reads unit.System) shown {
	of := analytes.UnitOf(analyte)
	return shown{analytes.Named(analyte), unit.Quantity{Unit: of}.In(reads).Unit, of}
}

func (s shown) value(v float64) float64 {
	if s.unit == s.of {
		return v
	}
	base, _, _ := unit.Base(v, s.of)
	return unit.From(base, s.unit)
}

func (s shown) span(of *lab.Span) *lab.Span {
	if of == nil {
		return nil
	}
	return &lab.Span{Low: s.value(of.Low), High: s.value(of.High)}
}

// spread is a difference of values.
func (s shown) spread(of *lab.Span) *lab.Span {
	if of == nil {
		return nil
	}
	return &lab.Span{Low: unit.Difference(of.Low, s.of, s.unit), High: unit.Difference(of.High, s.of, s.unit)}
}
