package enter

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules/english"
	"telltale/rules/unit"
)

type answerOptions struct {
	options
	job.Answer
}

func answerCommand(s cli.Env) *cobra.Command {
	var o answerOptions
	cmd := &cobra.Command{
		Use:   "answer VEHICLE ALARM-OR-TASK ANSWER",
		Short: "Answer an alarm or a task: " + english.List("or", answers()),
		Long: `Answer an alarm, or what is due:

  acknowledge  you have seen the alarm: no reminders unless it becomes worse
  shelve       put the alarm aside until a date; it is back then, or when it becomes worse
  unshelve     bring back an alarm that was put aside
  postpone     do the work later, for a reason: at a date, or some distance further on
  accept       move the work to the date or distance that the latest sample suggests; for
               a meter that went back, accept its lower readings

ALARM-OR-TASK is a name or a title, as telltale alarms and telltale due list them. telltale undo
takes back an answer given by mistake.`,
		Example: `  telltale answer bus-07 "copper over baseline" acknowledge --by ines
  telltale answer bus-07 "copper over baseline" shelve --until 2031-03-20 --why "sample ordered"
  telltale answer bus-07 "engine oil" postpone --further 1000km --why "parts come on Friday" --dry
  telltale answer bus-07 "engine oil" accept --by ines`,
		Args: cli.Wants(3, 3, "which alarm or task, and which answer?", `telltale answer bus-07 "copper over baseline" acknowledge`),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.say(ctx, s, nc, args) })
		},
	}
	o.flags(cmd, s)
	f := cmd.Flags()
	f.StringVar(&o.Component, "component", "", "the component, if several have the alarm or task")
	f.StringVar(&o.Until, "until", "", "shelve, postpone: until this date, such as 2031-03-20")
	f.StringVar(&o.Further, "further", "", "postpone: how much further, such as 1000km")
	f.StringVar(&o.By, "by", "", "who answers; accept needs it")
	f.StringVar(&o.Why, "why", "", "the reason; postpone needs it")
	return cmd
}

// answers are those that are given to an alarm or a task.
func answers() []string {
	return slices.DeleteFunc(intake.AnswerNames(), func(name string) bool {
		to, _ := intake.AnswerTo(name)
		return to == ""
	})
}

func (o *answerOptions) say(ctx context.Context, s cli.Env, nc *nats.Conn, args []string) error {
	f, err := fleetOf(ctx, nc)
	if err != nil {
		return err
	}
	vehicle, known, err := f.vehicle(args[0])
	if err != nil {
		return typedWrong(err, "telltale answer")
	}
	about, said := args[1], args[2]
	if !slices.Contains(answers(), said) && slices.Contains(answers(), about) {
		about, said = said, about // people say it both ways
	}
	o.Vehicle, o.About, o.Answer.Answer = vehicle, about, said
	if !slices.Contains(answers(), said) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("there is no answer %q", said), "the answers are "+strings.Join(answers(), ", ")))
	}
	stands, err := service.Alarms.Ask(ctx, nc, service.Question{Vehicle: vehicle})
	if err != nil {
		return err
	}
	ev, err := o.Event(known, stands)
	if err != nil {
		return o.wrong(err)
	}
	e, err := o.enter(ctx, s, nc, []event.Event{ev})
	if err != nil {
		return err
	}
	return o.told(s, e)
}

// wrong is the error with its cure; one of the checks of events names the option.
func (o *answerOptions) wrong(err error) error {
	if fault := (*intake.Fault)(nil); errors.As(err, &fault) {
		return cli.Exit(2, cli.Hint(fmt.Errorf("%s: %v", o.Answer.Answer, fault), "telltale answer --help shows what each answer needs"))
	}
	return typedWrong(err, "telltale answer "+english.Typed(o.Vehicle))
}

// told says what follows of an answer: of work that is put off, when it is due then.
func (o *options) told(s cli.Env, e *gateway.Entered) error {
	if o.JSON {
		return o.encode(s, e)
	}
	ev, would := &e.Events[0], &e.Would[0]
	of := e.Of[ev.Vehicle]
	lines := follows.AsWritten.Answered(ev, would, of)
	if len(lines) == 0 {
		lines = []string{nothingChanged(ev, follows.Said(of))}
	}
	if err := printed(s.Out, append(notes(ev, would, of, o.dry), lines...)...); err != nil {
		return err
	}
	o.enteredAs(s, ev, would)
	o.nothingEntered(s)
	return nil
}

// nothingChanged is the answer where no alarm and no due point changed.
func nothingChanged(ev *event.Event, said unit.System) string {
	if d, ok := ev.Data.(*event.AnswerData); ok && d.Answer == "out of service" {
		return ev.Vehicle + " is out of service; no messages about it until telltale back " + english.Typed(ev.Vehicle)
	}
	return follows.Nothing(ev, said)
}
