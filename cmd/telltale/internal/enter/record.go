package enter

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/rules/english"
)

// typed are the flags of one job, reading or sheet; the same on the command line and on a
// line of a file of jobs.
type typed struct {
	set    *pflag.FlagSet
	meters []string // NAME=VALUE
	on     string
	sample job.Sample
	// measures are NAME=VALUE of what was measured by hand.
	measures []string
	line     int // in a file; 0 on the command line
	args     []string
}

// flagsOf defines the flags of a job in a set.
func flagsOf(set *pflag.FlagSet) *typed {
	t := &typed{set: set}
	set.String(job.Odometer, "", "what the odometer showed, such as 81200km or 50450mi")
	set.String(job.Hours, "", "what the hour meter showed, such as 913h")
	set.StringArrayVar(&t.meters, "meter", nil, "what another meter showed, as NAME=VALUE")
	set.StringArrayVar(&t.measures, "measure", nil, `what was measured by hand, as "front lining=6.5mm"; several times for several`)
	set.StringVar(&t.on, "on", "", "when, such as 2031-02-10 or 2031-02-10T14:00 in the vehicle's time zone (default: now)")
	for _, field := range intake.Fields(event.ServiceEvent) {
		if _, yes := field.In(&event.ServiceData{}).(*bool); yes {
			set.Bool(field.Option, false, field.Help)
		} else if field.Option != intake.Apart {
			set.String(field.Option, "", field.Help)
		}
	}
	set.StringVar(&t.sample.Results, "sample", "", `a laboratory's results, such as "Fe=74 Cu=9 Pb=<1 KV100=13.9", each in its usual unit`)
	set.StringVar(&t.sample.Number, "number", "", "with --sample: the laboratory's number for the sheet")
	set.StringVar(&t.sample.Drawn, "drawn", "", "with --sample: the day it was drawn, such as 2031-02-10")
	set.StringVar(&t.sample.FluidAge, "fluid-age", "", "with --sample: how far or how long the fluid has run, such as 7200km or 250h")
	set.StringVar(&t.sample.Laboratory, "laboratory", "", "with --sample: the laboratory")
	set.IntVar(&t.sample.Revision, "revision", 0, "with --sample: 1, 2 … of a corrected sheet with the same number")
	set.BoolVar(&t.sample.After, "after-work", false, "with --sample or --measure: drawn or measured after that day's work, not before it")
	return t
}

type recordOptions struct {
	options
	from string
	past bool // a moment is named
}

func recordCommand(s cli.Env) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "record VEHICLE [TASK...]",
		Short: "Enter work, a reading, a measurement or a laboratory sheet",
		Long: `Enter work that was done, a meter reading, what was measured by hand, or a laboratory's
sheet. The answer says what follows: when each task is due next, and which alarms were
raised or cleared. VEHICLE is the key or usual name of a vehicle, TASK the name or title of
a task, as telltale due lists them. Without a task, meter values are entered as a reading.

--from FILE enters many jobs at once, one a line, each written like the arguments of this
command; - reads the standard input. Blank lines and comments (#) are skipped. If any line
has a mistake, all mistakes are shown with their line numbers and nothing is entered.

--dry shows what would follow and enters nothing. telltale undo takes back what was
entered by mistake.`,
		Example: `  telltale record bus-07 "engine oil" --odometer 81200km --filter --by "north workshop"
  telltale record bus-07 --odometer 157500mi
  telltale record bus-07 "transmission fluid" --odometer 81200km --drained 4L --filled 4L --note "grey film on the magnet"
  telltale record gritter-1 "hydraulic filter" --hours 913h --on 2031-02-03 --dry
  telltale record bus-07 --topped-up 0.5L --component engine --odometer 82400km
  telltale record bus-07 --component engine --sample "Fe=74 Cu=9 Pb=<1 KV100=13.9" --number L-1042 --drawn 2031-02-10 --fluid-age 7200km
  telltale record bus-07 --odometer 84400km --measure "front lining=6.5mm" --measure "tread depth=5mm"
  telltale record --from jobs.txt --dry`,
	}
	o.flags(cmd, s)
	t := flagsOf(cmd.Flags())
	cmd.Flags().StringVar(&o.from, "from", "", "enter the jobs in a file, one a line (- is the standard input)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		t.args = args
		return o.record(cmd.Context(), s, t)
	}
	return cmd
}

func (o *recordOptions) record(ctx context.Context, s cli.Env, t *typed) error {
	switch {
	case o.from != "" && len(t.args) > 0:
		return cli.Exit(2, cli.Hint(errors.New("--from names a file of jobs, but a job is given as well"), "write the job into the file, or leave --from out"))
	case o.from == "" && len(t.args) == 0:
		return cli.Exit(2, cli.Hint(errors.New("which vehicle, and what was done?"), `telltale record pickup "engine oil" --odometer 157500mi`))
	}
	lines := []*typed{t}
	o.past = t.on != ""
	if o.from != "" {
		var err error
		if lines, err = readJobs(s, o.from); err != nil {
			return err
		}
	}
	return o.run(ctx, func(ctx context.Context, nc *nats.Conn) error { return o.enterAll(ctx, s, nc, lines) })
}

// enterAll enters what the lines say, all or nothing.
func (o *recordOptions) enterAll(ctx context.Context, s cli.Env, nc *nats.Conn, lines []*typed) error {
	f, err := fleetOf(ctx, nc)
	if err != nil {
		return err
	}
	events, err := eventsOf(s, f, o.from, lines)
	if err != nil {
		return err
	}
	e, err := o.enter(ctx, s, nc, events)
	if err != nil {
		return err
	}
	if err := o.answer(s, e, len(lines) > 1); err != nil {
		return err
	}
	o.nothingEntered(s)
	return nil
}

// eventsOf are the events of the lines; what is wrong with any is told of all of them.
func eventsOf(s cli.Env, f *fleet, from string, lines []*typed) (events []event.Event, err error) {
	wrong := 0
	for _, t := range lines {
		list, err := t.events(f)
		e := (*job.Error)(nil)
		switch {
		case err == nil:
			events = append(events, list...)
		case t.line == 0:
			return nil, typedWrong(err, strings.TrimSpace("telltale record "+english.Typed(t.args[0])))
		case errors.As(err, &e) || errors.As(err, new(*intake.Fault)):
			wrong++
			fmt.Fprintf(s.Err, "%s:%d: %s\n", from, t.line, cli.WithHint(typedWrong(err, "telltale record "+english.Typed(append(t.args, "VEHICLE")[0]))))
		default:
			return nil, err
		}
	}
	if wrong > 0 {
		return nil, cli.Exit(2, fmt.Errorf("%s: %d of %d lines have faults; nothing was entered", from, wrong, len(lines)))
	}
	return events, nil
}

// events are those of one job, sheet or reading.
func (t *typed) events(f *fleet) ([]event.Event, error) {
	vehicle, known, err := f.vehicle(t.args[0])
	if err != nil {
		return nil, err
	}
	if len(t.measures) > 0 {
		if known.Measures, err = f.measures(vehicle); err != nil {
			return nil, err
		}
	}
	list, err := t.made(vehicle, known)
	for i := range list {
		list[i].Line = t.line
	}
	return list, err
}

func (t *typed) made(vehicle string, known job.Known) ([]event.Event, error) {
	j := t.job(vehicle)
	switch {
	case len(t.measures) > 0:
		return t.measured(j, known)
	case t.sample.Results == "":
		return j.Events(t.on, known)
	}
	if len(j.Tasks) > 0 {
		return nil, &job.Error{Fault: job.NoResult, Option: "sample"}
	}
	sample := t.sample
	sample.Vehicle, sample.Component, sample.Meters = vehicle, j.Said["component"], j.Meters
	if sample.Drawn == "" {
		sample.Drawn = t.on
	}
	ev, err := sample.Event(known)
	return []event.Event{ev}, err
}

// measured are the measurement and, where work is told of as well, that. What is measured
// along with work was found before it, unless it says that it was after.
func (t *typed) measured(j job.Job, known job.Known) ([]event.Event, error) {
	if t.sample.Results != "" {
		return nil, &job.Error{Fault: job.NoMeasure, Option: "measure", Name: "sample"}
	}
	ev, err := job.Measurement{Vehicle: j.Vehicle, Values: t.measures, After: t.sample.After, Meters: j.Meters}.Event(t.on, known)
	if err != nil || len(j.Tasks) == 0 && len(j.Said) == 0 {
		return []event.Event{ev}, err
	}
	work, err := j.Events(t.on, known)
	return append([]event.Event{ev}, work...), err
}

// job is what the flags say.
func (t *typed) job(vehicle string) job.Job {
	j := job.Job{Vehicle: vehicle, Tasks: append([]string{}, t.args[1:]...), Said: map[string]string{}}
	for _, field := range intake.Fields(event.ServiceEvent) {
		if f := t.set.Lookup(field.Option); f != nil && f.Value.String() != f.DefValue {
			j.Said[field.Path] = f.Value.String()
		}
	}
	for _, option := range []string{job.Odometer, job.Hours} {
		if text := t.set.Lookup(option).Value.String(); text != "" {
			j.Meters = append(j.Meters, job.Meter{Name: option, Option: option, Text: text})
		}
	}
	for _, m := range t.meters {
		name, text, _ := strings.Cut(m, "=")
		j.Meters = append(j.Meters, job.Meter{Name: name, Option: "meter " + name + "=", Text: text})
	}
	return j
}
