package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules"
	"telltale/rules/unit"
)

// recordOptions are one job as it is typed.
type recordOptions struct {
	cli.Client
	odometer, hours, drained, filled string
	meters                           []string // NAME=VALUE
	component, fluid, on, by, note   string
	filter, dry                      bool
}

func recordCommand(s cli.Env) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "record VEHICLE TASK...",
		Short: "Enter one job that was done; the due point that follows is printed back",
		Example: `  telltale record bus-07 "engine oil" --odometer 81200km --filter --by "north workshop"
  telltale record bus-07 "transmission fluid" --odometer 81200km --drained 4L --filled 4L --note "grey film on the magnet"
  telltale record gritter-1 "hydraulic filter" --hours 913h --on 2031-02-03 --dry`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error {
				return o.record(ctx, s, nc, args[0], args[1:])
			})
		},
	}
	o.Flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&o.odometer, "odometer", "", "what the odometer showed, as 81200km or 50450mi")
	f.StringVar(&o.hours, "hours", "", "what the hour meter showed, as 913h")
	f.StringArrayVar(&o.meters, "meter", nil, "what another meter showed, as NAME=VALUE")
	f.StringVar(&o.drained, "drained", "", "fluid drained, as 4L or 4.2qt")
	f.StringVar(&o.filled, "filled", "", "fluid filled in")
	f.StringVar(&o.fluid, "fluid", "", "name of the fluid filled in (default: the register's)")
	f.StringVar(&o.component, "component", "", "what it was done on (default: the one that the task is kept for)")
	f.BoolVar(&o.filter, "filter", false, "the filter was renewed")
	f.StringVar(&o.on, "on", "", "when, as 2031-02-10 or 2031-02-10T14:00 in the vehicle's zone (default: now)")
	f.StringVar(&o.by, "by", "", "who did it")
	f.StringVar(&o.note, "note", "", "what else was seen")
	f.BoolVar(&o.dry, "dry", false, "check it and show the event, and send nothing")
	return cmd
}

func (o *recordOptions) record(ctx context.Context, s cli.Env, nc *nats.Conn, vehicle string, tasks []string) error {
	reg, err := ask.RegisteredVehicle(ctx, nc, vehicle)
	if err != nil {
		return err
	}
	has, err := service.Why.Ask(ctx, nc, service.Question{Vehicle: vehicle})
	if err != nil {
		return err
	}
	latest, now, err := clockOf(ctx, nc)
	if err != nil {
		return err
	}
	at, err := o.when(reg, now, latest)
	if err != nil {
		return err
	}
	ev, err := o.event(vehicle, tasks, reg, has, at)
	if err != nil {
		return err
	}
	if o.dry {
		return writeEvents(s.Out, []engine.Event{ev})
	}
	p, err := gateway.Send(ctx, nc, ev)
	if err != nil {
		return cli.Hint(fmt.Errorf("sending: %w", err), "enter the same again: what is stored already is not stored twice")
	}
	refused, err := printRefused(ctx, s, p)
	if err != nil {
		return fmt.Errorf("asking what the service made of it: %w", err)
	}
	if refused > 0 {
		return cli.Exit(1, fmt.Errorf("it was refused"))
	}
	return o.printNext(ctx, s, nc, &ev)
}

// event makes the job's event and checks it. Its identity is made of what it says,
// the moment included, so that the same line with --on typed again is the same job.
func (o *recordOptions) event(vehicle string, tasks []string, reg *engine.VehicleData, has []engine.Why, at time.Time) (engine.Event, error) {
	d := &engine.ServiceData{Tasks: tasks, Filter: o.filter, By: o.by, Note: o.note}
	ev := engine.Event{Kind: engine.ServiceEvent, Vehicle: vehicle, Data: d}
	names := taskNames(has)
	for _, t := range tasks {
		if !slices.Contains(names, t) {
			return ev, cli.Exit(2, cli.Hint(fmt.Errorf("%s has no task %q", vehicle, t), ask.DidYouMean(rules.Near(t, names), names)))
		}
	}
	var err error
	if d.Component, err = o.componentOf(vehicle, tasks, reg, has); err != nil {
		return ev, err
	}
	if d.Meters, err = o.meterValues(vehicle, reg); err != nil {
		return ev, err
	}
	if d.Fluid, err = o.exchange(d.Component, reg); err != nil {
		return ev, err
	}
	ev.Time, ev.Recorded = at, at
	ev.ID = engine.ID{Source: "/record", ID: "unnamed"}
	text, err := intake.Encode(ev)
	if err != nil {
		return ev, err
	}
	sum := sha256.Sum256(text)
	ev.ID.ID = vehicle + "-" + hex.EncodeToString(sum[:8])
	if text, err = intake.Encode(ev); err != nil {
		return ev, err
	}
	if ev, err = intake.Decode(text); err != nil {
		return ev, cli.Exit(2, err)
	}
	return ev, nil
}

// componentOf is the component that was named, or the only one that the tasks are
// kept for.
func (o *recordOptions) componentOf(vehicle string, tasks []string, reg *engine.VehicleData, has []engine.Why) (string, error) {
	var all []string
	for _, c := range reg.Components {
		all = append(all, c.Name)
	}
	if o.component != "" {
		if !slices.Contains(all, o.component) {
			return "", cli.Exit(2, cli.Hint(fmt.Errorf("%s has no component %q", vehicle, o.component), ask.DidYouMean(rules.Near(o.component, all), all)))
		}
		return o.component, nil
	}
	var kept []string
	for _, y := range has {
		if y.Component != "" && slices.Contains(tasks, y.Rule) && y.Due != nil && !slices.Contains(kept, y.Component) {
			kept = append(kept, y.Component)
		}
	}
	exchanged := o.drained != "" || o.filled != "" || o.fluid != ""
	switch {
	case len(kept) == 1:
		return kept[0], nil
	case len(kept) > 1 && exchanged:
		return "", cli.Exit(2, cli.Hint(fmt.Errorf("the task is kept for several components: %s", strings.Join(kept, ", ")), "say whose fluid it was: --component "+ask.Quoted(kept[0])))
	case exchanged && len(all) == 0:
		return "", cli.Exit(2, cli.Hint(fmt.Errorf("%s has no components in the register, so the fluid is nobody's", vehicle), "give it components in vehicles.yaml"))
	case exchanged:
		return "", cli.Exit(2, cli.Hint(fmt.Errorf("fluid was exchanged, but not said of what"), "add --component "+ask.Quoted(all[0])))
	}
	return "", nil
}

// meterValues reads what the meters showed.
func (o *recordOptions) meterValues(vehicle string, reg *engine.VehicleData) (map[string]unit.Quantity, error) {
	out := map[string]unit.Quantity{}
	add := func(name, flag, value string, kind unit.Kind, example string) error {
		q, err := unit.Parse(value)
		if _, err2 := q.As(kind); err != nil || err2 != nil {
			return cli.Exit(2, cli.Hint(fmt.Errorf("%s %q is not %s with its unit", flag, value, kind), "write "+flag+" "+example))
		}
		out[name] = q
		return nil
	}
	if o.odometer != "" {
		name, err := meterNamed(vehicle, reg, "odometer", "distance")
		if err == nil {
			err = add(name, "--odometer", o.odometer, unit.Distance, "81200km")
		}
		if err != nil {
			return nil, err
		}
	}
	if o.hours != "" {
		name, err := meterNamed(vehicle, reg, "hours", "hours")
		if err == nil {
			err = add(name, "--hours", o.hours, unit.Time, "913h")
		}
		if err != nil {
			return nil, err
		}
	}
	for _, m := range o.meters {
		name, value, _ := strings.Cut(m, "=")
		kind := unit.Distance
		for _, d := range reg.Meters {
			if d.Name == name && d.Kind == "hours" {
				kind = unit.Time
			}
		}
		if err := add(name, "--meter "+name+"=", value, kind, "81200km"); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// meterNamed is the meter that a flag means: the one of its name, or else the only
// one of its kind.
func meterNamed(vehicle string, reg *engine.VehicleData, name, kind string) (string, error) {
	var all []string
	for _, m := range reg.Meters {
		if m.Name == name {
			return name, nil
		}
		if m.Kind == kind {
			all = append(all, m.Name)
		}
	}
	switch {
	case len(all) == 1:
		return all[0], nil
	case len(reg.Meters) == 0:
		return name, nil
	case len(all) == 0:
		return "", cli.Exit(2, cli.Hint(fmt.Errorf("%s has no meter that counts %s", vehicle, kind), "give it one in vehicles.yaml"))
	}
	return "", cli.Exit(2, cli.Hint(fmt.Errorf("%s has several meters that count %s", vehicle, kind), fmt.Sprintf("name it: --meter %q", all[0]+"=…")))
}

// exchange is the fluid that went out and in; the register says which it is.
func (o *recordOptions) exchange(component string, reg *engine.VehicleData) (*engine.FluidData, error) {
	if o.drained == "" && o.filled == "" && o.fluid == "" {
		return nil, nil
	}
	f := &engine.FluidData{Name: o.fluid}
	for _, c := range reg.Components {
		if c.Name == component && f.Name == "" {
			f.Name = c.Fluid
		}
	}
	for _, v := range []struct {
		flag, text string
		into       **unit.Quantity
	}{{"--drained", o.drained, &f.Drained}, {"--filled", o.filled, &f.Filled}} {
		if v.text == "" {
			continue
		}
		q, err := unit.Parse(v.text)
		if _, err2 := q.As(unit.Volume); err != nil || err2 != nil {
			return nil, cli.Exit(2, cli.Hint(fmt.Errorf("%s %q is not a volume with its unit", v.flag, v.text), "write "+v.flag+" 4L, or qt, gal, mL"))
		}
		*v.into = &q
	}
	return f, nil
}

// when is the moment of the job, in the vehicle's zone. A date alone is its noon, so
// that it is that day's wherever it is read.
func (o *recordOptions) when(reg *engine.VehicleData, now, latest time.Time) (time.Time, error) {
	if o.on == "" {
		return now.UTC().Truncate(time.Second), nil
	}
	zone, err := time.LoadLocation(reg.Zone)
	if err != nil {
		zone = time.UTC
	}
	for _, form := range []string{time.DateOnly, "2006-01-02T15:04", "2006-01-02 15:04", time.RFC3339} {
		t, err := time.ParseInLocation(form, o.on, zone)
		if err != nil {
			continue
		}
		if form == time.DateOnly {
			t = t.Add(12 * time.Hour)
		}
		if t.After(latest) {
			return t, cli.Exit(2, cli.Hint(fmt.Errorf("--on %s is still to come", o.on), "enter what was done when it is done"))
		}
		return t.UTC(), nil
	}
	return now, cli.Exit(2, cli.Hint(fmt.Errorf("--on %q is not a date", o.on), "write --on 2031-02-10 or --on 2031-02-10T14:00"))
}

// printNext prints what the service makes of it: when each task is due next, and
// what the work opened.
func (o *recordOptions) printNext(ctx context.Context, s cli.Env, nc *nats.Conn, ev *engine.Event) error {
	list, err := service.Why.Ask(ctx, nc, service.Question{Vehicle: ev.Vehicle})
	if err != nil {
		return err
	}
	d := ev.Data.(*engine.ServiceData)
	list = slices.DeleteFunc(list, func(y engine.Why) bool {
		follows := y.Due != nil && (y.Due.By != nil && *y.Due.By == ev.ID || slices.Contains(d.Tasks, y.Rule))
		return !follows || d.Component != "" && y.Component != "" && y.Component != d.Component
	})
	if o.JSON {
		return cli.Listing(s, true, list, nil, "", nil)
	}
	if len(list) == 0 {
		_, err := io.WriteString(s.Out, "recorded; nothing further follows from it\n")
		return err
	}
	for i := range list {
		if _, err := fmt.Fprintln(s.Out, cli.Printable(nextLine(&list[i]))); err != nil {
			return fmt.Errorf("writing the answer: %w", err)
		}
	}
	o.opened(s, ev, list)
	return nil
}

// opened tells, of work of the past, how to enter the checks that came after it, lest
// they be asked for now.
func (o *recordOptions) opened(s cli.Env, ev *engine.Event, list []engine.Why) {
	done := ev.Data.(*engine.ServiceData).Tasks
	var checks []string
	for i := range list {
		if by := list[i].Due.By; by != nil && *by == ev.ID && !slices.Contains(done, list[i].Rule) {
			checks = append(checks, strconv.Quote(list[i].Rule))
		}
	}
	if o.on == "" || len(checks) == 0 {
		return
	}
	cmd := "telltale record " + ev.Vehicle + " " + strings.Join(checks, " ")
	if o.Dir != "" {
		cmd += " --dir " + o.Dir
	}
	fmt.Fprintln(s.Err, cli.Printable("hint: enter the checks as well, if they were done: "+cmd+" --on "+ev.Time.AddDate(0, 0, 1).Format(time.DateOnly)))
}

// nextLine is when a task is due next, by each of its limits.
func nextLine(y *engine.Why) string {
	what := y.Rule
	if y.Component != "" {
		what += " (" + y.Component + ")"
	}
	var points []string
	for _, l := range y.Due.Limits {
		switch {
		case l.DueDate != "":
			points = append(points, "on "+l.DueDate)
		case l.Due != nil:
			points = append(points, "at "+unit.Grouped(l.Due.Value)+" "+l.Due.Unit)
		}
	}
	if len(points) == 0 {
		return what + ": recorded"
	}
	line := what + ": due next " + strings.Join(points, " or ")
	if len(points) > 1 {
		line += ", whichever comes first"
	}
	return line
}
