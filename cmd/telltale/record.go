package main

import (
	"context"
	"errors"
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
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/engine/why"
	"telltale/rules/english"
	"telltale/rules/source"
	"telltale/rules/unit"
)

// recordOptions are one job as it is typed.
type recordOptions struct {
	cli.Client
	job.Job
	on  string
	dry bool
}

func recordCommand(s cli.Env) *cobra.Command {
	var o recordOptions
	var meters []string // NAME=VALUE
	cmd := &cobra.Command{
		Use:   "record VEHICLE TASK...",
		Short: "Enter one job that was done; the due point that follows is printed back",
		Example: `  telltale record bus-07 "engine oil" --odometer 81200km --filter --by "north workshop"
  telltale record bus-07 "transmission fluid" --odometer 81200km --drained 4L --filled 4L --note "grey film on the magnet"
  telltale record gritter-1 "hydraulic filter" --hours 913h --on 2031-02-03 --dry
  telltale record bus-07 --topped-up 0.5L --component engine --odometer 82400km`,
		Args: func(cmd *cobra.Command, args []string) error {
			if cmd.Flags().Changed("topped-up") {
				return cobra.MinimumNArgs(1)(cmd, args)
			}
			return cobra.MinimumNArgs(2)(cmd, args)
		},
	}
	o.Flags(cmd, s)
	f := cmd.Flags()
	f.String(job.Odometer, "", "what the odometer showed, as 81200km or 50450mi")
	f.String(job.Hours, "", "what the hour meter showed, as 913h")
	f.StringArrayVar(&meters, "meter", nil, "what another meter showed, as NAME=VALUE")
	f.StringVar(&o.on, "on", "", "when, as 2031-02-10 or 2031-02-10T14:00 in the vehicle's zone (default: now)")
	f.BoolVar(&o.dry, "dry", false, "check it and show the event, and send nothing")
	for _, field := range intake.Fields(event.ServiceEvent) {
		if _, yes := field.In(&event.ServiceData{}).(*bool); yes {
			f.Bool(field.Option, false, field.Help)
		} else if field.Option != intake.Apart {
			f.String(field.Option, "", field.Help)
		}
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		o.Job = typedJob(cmd, args, meters)
		return o.Ask(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.record(ctx, s, nc) })
	}
	return cmd
}

// typedJob is the job of a command line.
func typedJob(cmd *cobra.Command, args, meters []string) job.Job {
	j := job.Job{Vehicle: args[0], Tasks: args[1:], Said: map[string]string{}}
	for _, field := range intake.Fields(event.ServiceEvent) {
		if f := cmd.Flag(field.Option); f != nil && f.Value.String() != f.DefValue {
			j.Said[field.Path] = f.Value.String()
		}
	}
	for _, option := range []string{job.Odometer, job.Hours} {
		if text := cmd.Flag(option).Value.String(); text != "" {
			j.Meters = append(j.Meters, job.Meter{Name: option, Option: option, Text: text})
		}
	}
	for _, m := range meters {
		name, text, _ := strings.Cut(m, "=")
		j.Meters = append(j.Meters, job.Meter{Name: name, Option: "meter " + name + "=", Text: text})
	}
	return j
}

func (o *recordOptions) record(ctx context.Context, s cli.Env, nc *nats.Conn) error {
	var known job.Known
	var err error
	if known.Registered, err = ask.RegisteredVehicle(ctx, nc, o.Vehicle); err != nil {
		return err
	}
	if known.Has, err = service.Why.Ask(ctx, nc, service.Question{Vehicle: o.Vehicle}); err != nil {
		return err
	}
	if known.Latest, known.Now, err = clockOf(ctx, nc); err != nil {
		return err
	}
	ev, err := o.Event(o.on, known)
	if e := (*job.Error)(nil); errors.As(err, &e) {
		if e.Option != "" { // with which the text begins
			err = fmt.Errorf("--%w", e)
		}
		err = cli.Hint(err, jobHint(e))
	}
	if err != nil {
		return cli.Exit(2, err)
	}
	if o.dry {
		return writeEvents(s.Out, []event.Event{ev})
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

// jobHint is the line that names the cure.
func jobHint(e *job.Error) string {
	switch e.Fault {
	case job.SeveralComponents:
		return "say whose fluid it was: --component " + ask.Quoted(e.Have[0])
	case job.NoComponents:
		return "give it components in vehicles.yaml"
	case job.NoComponentSaid:
		return "add --component " + ask.Quoted(e.Have[0])
	case job.NoMeter:
		return "give it one in vehicles.yaml"
	case job.SeveralMeters:
		return fmt.Sprintf("name it: --meter %q", e.Have[0]+"=…")
	case job.NoQuantity:
		return "write --" + e.Option + " " + map[unit.Kind]string{unit.Distance: "81200km", unit.Time: "913h", unit.Volume: "4L, or qt, gal, mL"}[e.Kind]
	case job.NoDate:
		return "write --on 2031-02-10 or --on 2031-02-10T14:00"
	case job.NotYet:
		return "enter what was done when it is done"
	}
	return ask.DidYouMean(source.Near(e.Name, e.Have), e.Have)
}

// printNext prints what the service makes of it: when each task is due next, and
// what the work opened.
func (o *recordOptions) printNext(ctx context.Context, s cli.Env, nc *nats.Conn, ev *event.Event) error {
	list, err := service.Why.Ask(ctx, nc, service.Question{Vehicle: ev.Vehicle})
	if err != nil {
		return err
	}
	d := ev.Data.(*event.ServiceData)
	list = slices.DeleteFunc(list, func(y why.Why) bool {
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
func (o *recordOptions) opened(s cli.Env, ev *event.Event, list []why.Why) {
	done := ev.Data.(*event.ServiceData).Tasks
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
func nextLine(y *why.Why) string {
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
			points = append(points, "at "+english.Quantity(l.Due))
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
