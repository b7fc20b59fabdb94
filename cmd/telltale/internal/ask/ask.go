// Package ask is the commands that ask what stands, of a running service or of a file
// of events that they fold.
package ask

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/event"
	"telltale/engine/intake/job"
	"telltale/engine/stream/service"
	"telltale/engine/why"
	"telltale/rules/english"
)

// Commands are due, alarms, why, sample, history, refused, events and baselines.
func Commands(s cli.Env) []*cobra.Command {
	return []*cobra.Command{dueCommand(s), alarmsCommand(s), whyCommand(s), sampleCommand(s), measuresCommand(s), historyCommand(s), refusedCommand(s), eventsCommand(s), baselinesCommand(s)}
}

// Trials is replay, by which rules are tried.
func Trials(s cli.Env) []*cobra.Command { return []*cobra.Command{replayCommand(s)} }

// VehicleMeant is the id of the vehicle that a text means, by its id or its usual name, or
// the error that names the nearest there is.
func VehicleMeant(ctx context.Context, nc *nats.Conn, text string) (string, error) {
	v, err := Registered(ctx, nc, text)
	if e := (*job.Error)(nil); errors.As(err, &e) {
		err = cli.Hint(e, DidYouMean(e.Near, e.Have))
	}
	return v.Vehicle, err
}

// Registered is the vehicle that a text means, by any name that it has or had, as it is
// registered. The whole register is asked for only to name the nearest, where there is none.
func Registered(ctx context.Context, nc *nats.Conn, text string) (engine.RegisteredVehicle, error) {
	list, err := CalledSo(ctx, nc, text)
	if err == nil && len(list) == 0 {
		list, err = service.Register.Ask(ctx, nc, service.Question{})
	} else if err == nil && len(list) == 1 {
		return list[0], nil
	}
	if err != nil {
		return engine.RegisteredVehicle{}, err
	}
	fleet, by := map[string]*event.VehicleData{}, map[string]engine.RegisteredVehicle{}
	for _, v := range list {
		fleet[v.Vehicle], by[v.Vehicle] = v.VehicleData, v
	}
	id, err := job.Vehicle(fleet, text)
	return by[id], err
}

// CalledSo is the vehicle that a text means, or those of which it may mean any.
func CalledSo(ctx context.Context, nc *nats.Conn, text string) ([]engine.RegisteredVehicle, error) {
	if text == "" {
		return nil, nil
	}
	list, err := service.Register.Ask(ctx, nc, service.Question{Vehicle: text})
	if err == nil || errors.Is(err, service.ErrNoService) {
		return list, err
	}
	if several, fault := service.Called.Ask(ctx, nc, service.Question{Name: text}); fault == nil && len(several) > 1 {
		return several, nil
	}
	return nil, err
}

// meantIn is the vehicle that a name means among those of a file; the name itself where
// there is none.
func meantIn(p *engine.Partition, name string) (string, error) {
	key, err := p.Meant(name)
	if err != nil {
		return "", cli.Exit(2, err)
	}
	return cmp.Or(key, name), nil
}

// listOf asks for a list. Where it is empty for a vehicle that is called otherwise, it is
// asked for the one that is meant; where there is none, that is an error.
func listOf[T any](ctx context.Context, nc *nats.Conn, in *service.Inquiry[T], q service.Question) ([]T, error) {
	list, err := in.Ask(ctx, nc, q)
	if err != nil || len(list) > 0 || q.Vehicle == "" {
		return list, err
	}
	id, err := VehicleMeant(ctx, nc, q.Vehicle)
	if err != nil || id == q.Vehicle {
		return nil, err
	}
	q.Vehicle = id
	return in.Ask(ctx, nc, q)
}

// DidYouMean asks after the nearest name, or lists what there is.
func DidYouMean(near string, all []string) string {
	switch {
	case near != "":
		return "did you mean " + english.Typed(near) + "?"
	case len(all) == 0:
		return "there is none"
	}
	slices.Sort(all)
	if len(all) > 20 {
		all = append(slices.Clone(all[:20]), "…")
	}
	return "there are: " + strings.Join(all, ", ")
}

func alarmsCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var vehicle, stages string
	var all bool
	cmd := &cobra.Command{
		Use:   "alarms",
		Short: "List active alarms, warnings first",
		Example: `  telltale alarms --dir fleet
  telltale alarms --stage warning,caution`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			only, err := stagesOf(stages, alarmStages)
			if err != nil {
				return err
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := listOf(ctx, nc, service.Alarms, service.Question{Vehicle: vehicle, Units: c.Units()})
				if err == nil && len(list) == 0 {
					err = nothingDue(ctx, nc, "")
				}
				worstFirst(list)
				list = slices.DeleteFunc(list, func(a alarm.Listed) bool { return a.To != alarm.Normal && !only.has(a.To) })
				before := len(list)
				if !all {
					list = slices.DeleteFunc(list, func(a alarm.Listed) bool { return a.To == "normal" })
				}
				err = cli.Listing(s, c.JSON, list, err, "no active alarms", standingLine)
				switch n := before - len(list); {
				case n == 1:
					fmt.Fprintln(s.Err, "1 more has cleared but was not acknowledged: --all lists it")
				case n > 1:
					fmt.Fprintf(s.Err, "%d more have cleared but were not acknowledged: --all lists them\n", n)
				}
				return err
			})
		},
	}
	c.Flags(cmd, s)
	cmd.Flags().StringVar(&vehicle, "vehicle", "", "only this vehicle")
	cmd.Flags().StringVar(&stages, "stage", "", "only these stages: warning, overdue, caution, due, advisory, soon")
	cmd.Flags().BoolVar(&all, "all", false, "also alarms that have cleared but were not acknowledged")
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
		Short: "List events that could not be used, and why",
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

func whyCommand(s cli.Env) *cobra.Command {
	var c cli.Client
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "why VEHICLE [RULE]",
		Short: "Explain the state of a rule or task",
		Long: `Explain why a rule or task of a vehicle is in the state it is in: the value of each
operand, the baseline and its source, the events used, what was missing, when it last
changed and by which rules; for a task, how its due date or meter value was found.
Without RULE, everything active is explained and the rest is listed.

The running service answers; with --rules, a file of events is run instead.`,
		Example: `  telltale why bus-07 "copper over baseline"
  telltale why bus-07 "engine oil" --rules fleet/rules --vehicles fleet/vehicles.yaml events.jsonl`,
		Args: cli.Wants(1, 3, "which vehicle?", `telltale why bus-07 "engine oil"`),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.json = c.JSON
			args, file, err := o.split(args, 1, 2, "why")
			if err != nil {
				return err
			}
			vehicle, rule := args[0], arg(args, 1)
			if file != "" {
				return whyFromFile(s, o, c.JSON, vehicle, rule, file)
			}
			return c.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				list, err := whyOf(ctx, nc, service.Question{Vehicle: vehicle, Rule: rule, Units: c.Units()})
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

// whyOf asks after a rule or task by its name or, where nothing is called so, by the title
// that lists show.
func whyOf(ctx context.Context, nc *nats.Conn, q service.Question) ([]why.Why, error) {
	list, err := listOf(ctx, nc, service.Why, q)
	rule := q.Rule
	if err != nil || len(list) > 0 || rule == "" {
		return list, err
	}
	q.Rule = ""
	all, err := listOf(ctx, nc, service.Why, q)
	return slices.DeleteFunc(all, func(y why.Why) bool {
		return english.Folded(y.Title) != english.Folded(rule) && english.Folded(y.Rule) != english.Folded(rule)
	}), err
}

// whyFromFile folds the file and asks what came of it.
func whyFromFile(s cli.Env, o replayOptions, asJSON bool, vehicle, rule, path string) error {
	refused := 0
	p, err := foldFile(s, o, path, func(_ event.Event, out []engine.Output) {
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
		fmt.Fprintf(s.Err, "%d events of %s could not be used; telltale replay --all lists them\n", refused, path)
	}
	if vehicle, err = meantIn(p, vehicle); err != nil {
		return err
	}
	return whyAnswer(s, asJSON, p.Why(vehicle, rule), vehicle, rule)
}

// whyAnswer prints the answers; where no rule was named, those that stand in full
// and the rest in a line each.
func whyAnswer(s cli.Env, asJSON bool, list []why.Why, vehicle, rule string) error {
	switch {
	case len(list) == 0 && rule != "":
		return cli.Hint(fmt.Errorf("vehicle %q has no rule, task or follow-up %q, or is not registered", vehicle, rule), "telltale why "+english.Typed(vehicle)+" lists what it has")
	case len(list) == 0:
		return cli.Hint(fmt.Errorf("no vehicle %q is registered", vehicle), "telltale due lists vehicles by name; vehicles.yaml has their keys")
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
