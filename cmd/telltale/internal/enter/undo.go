package enter

import (
	"bufio"
	"cmp"
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/follows"
	"telltale/engine/intake"
	"telltale/engine/intake/job"
	"telltale/engine/stream"
	"telltale/engine/stream/gateway"
	"telltale/engine/stream/service"
	"telltale/rules/english"
	"telltale/rules/unit"
)

type undoOptions struct {
	options
	yes bool
}

func undoCommand(s cli.Env) *cobra.Command {
	var o undoOptions
	cmd := &cobra.Command{
		Use:   "undo VEHICLE [ENTRY]",
		Short: "Take back what was entered by mistake",
		Long: `Take back work, a reading, a sheet or an answer that was entered by mistake. What was
judged with it is judged again without it; the history still shows it, as taken back.

ENTRY is the name of the entry, or its beginning, as telltale record and telltale history
print it. Without ENTRY, the vehicle's latest entries are shown and, on a terminal, you are
asked whether to take back the latest. An undo cannot be undone, but you can enter the
same again.`,
		Example: `  telltale undo bus-07
  telltale undo bus-07 bus-07-d63bd030f13ee18c --dry
  telltale undo bus-07 L-1042/transmission/0`,
		Args: cli.Wants(1, 2, "what should be taken back?", "telltale undo bus-07 shows the latest entries of a vehicle"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.undo(ctx, s, nc, args) })
		},
	}
	o.flags(cmd, s)
	cmd.Flags().BoolVar(&o.yes, "yes", false, "without ENTRY: take back the latest without asking")
	return cmd
}

func (o *undoOptions) undo(ctx context.Context, s cli.Env, nc *nats.Conn, args []string) error {
	f, err := fleetOf(ctx, nc)
	if err != nil {
		return err
	}
	of, id := args[0], append(args, "")[1]
	if id == "" {
		owner, err := f.ownerOf(of)
		if err != nil {
			return err
		}
		if owner != "" {
			of, id = owner, of
		}
	}
	vehicle, known, err := f.vehicle(of)
	if err != nil {
		return typedWrong(err, "telltale undo")
	}
	target, err := o.target(ctx, s, nc, vehicle, id, f.said(vehicle))
	if target == nil || err != nil {
		return err
	}
	ev, err := job.Void(vehicle, target.ID, known)
	if err != nil {
		return err
	}
	e, err := o.enter(ctx, s, nc, []event.Event{ev})
	if err != nil {
		return err
	}
	return o.answer(s, e, target)
}

// ownerOf is the vehicle of an entry, whose name begins with the first key of its; "" for what
// is called like a vehicle itself, or like no entry.
func (f *fleet) ownerOf(id string) (string, error) {
	if list, err := ask.CalledSo(f.ctx, f.nc, id); err != nil || len(list) > 0 {
		return "", err
	}
	for i := strings.LastIndexByte(id, '-'); i > 0; i = strings.LastIndexByte(id[:i], '-') {
		list, err := ask.CalledSo(f.ctx, f.nc, id[:i])
		if err != nil {
			return "", err
		}
		for _, v := range list {
			if cmp.Or(v.First, v.Vehicle) == id[:i] {
				return v.Vehicle, nil
			}
		}
	}
	return "", nil
}

// target is the entry to be taken out; nil where the person does not want to.
func (o *undoOptions) target(ctx context.Context, s cli.Env, nc *nats.Conn, vehicle, id string, said unit.System) (*event.Event, error) {
	list, err := entriesOf(ctx, nc, vehicle, id)
	if err != nil {
		return nil, err
	}
	switch {
	case len(list) == 0 && id == "":
		return nil, cli.Exit(1, cli.Hint(fmt.Errorf("nothing was entered for %s", vehicle), "telltale history "+english.Typed(vehicle)+" lists everything known about it"))
	case len(list) == 0:
		return nil, cli.Exit(1, cli.Hint(fmt.Errorf("%s has no entry %q; nothing was taken back", vehicle, id), "telltale undo "+english.Typed(vehicle)+" lists the latest entries"))
	case id == "" && !o.yes:
		return o.latest(s, vehicle, list, said)
	case id != "" && len(list) > 1:
		show(s, list, said)
		return nil, cli.Exit(2, fmt.Errorf("%d entries begin with that; write more of the name", len(list)))
	case list[0].TakenOut:
		return nil, cli.Exit(1, fmt.Errorf("%s was already taken back", list[0].ev.ID.ID))
	}
	return &list[0].ev, nil
}

// latest shows the latest entries and, on a terminal, asks for the first.
func (o *undoOptions) latest(s cli.Env, vehicle string, list []entry, said unit.System) (*event.Event, error) {
	show(s, list, said)
	if o.JSON || o.dry || !cli.Terminal(s.In) {
		fmt.Fprintf(s.Err, "nothing was taken back; to take one back: telltale undo %s %s\n", english.Typed(vehicle), english.Typed(list[0].ev.ID.ID))
		return nil, nil
	}
	fmt.Fprintf(s.Err, "Take back the first (%s)? [y/N] ", follows.What(&list[0].ev, said))
	answer, _ := bufio.NewReader(s.In).ReadString('\n')
	if a := strings.ToLower(strings.TrimSpace(answer)); a != "y" && a != "yes" {
		fmt.Fprintln(s.Err, "nothing was taken back")
		return nil, nil
	}
	return &list[0].ev, nil
}

// entry is one that was entered.
type entry struct {
	stream.Entry
	ev event.Event
}

// entriesOf are those that the service knows: one that was refused is none.
func entriesOf(ctx context.Context, nc *nats.Conn, vehicle, id string) (out []entry, err error) {
	list, err := service.Entries.Ask(ctx, nc, service.Question{Vehicle: vehicle, ID: id})
	if err != nil {
		return nil, err
	}
	var ids []engine.KnownEvent
	for _, e := range list {
		ev, err := intake.Decode(e.Event)
		if err != nil {
			return nil, err
		}
		out, ids = append(out, entry{e, ev}), append(ids, engine.KnownEvent{ID: ev.ID})
	}
	known, err := service.QueryKnown(ctx, service.At{Conn: nc}, vehicle, ids)
	have := map[event.ID]bool{}
	for _, k := range known {
		have[k.ID] = true
	}
	var kept []entry
	for _, e := range out {
		if have[e.ev.ID] {
			kept = append(kept, e)
		}
	}
	return kept, err
}

// show lists entries, latest first.
func show(s cli.Env, list []entry, said unit.System) {
	for i := range list {
		e := &list[i]
		line := fmt.Sprintf("%s  %s\n    entered %s as %s", e.ev.Time.Format(time.DateOnly), follows.What(&e.ev, said), e.Stored.Format("2006-01-02 15:04"), e.ev.ID.ID)
		if e.TakenOut {
			line += " (taken back)"
		}
		fmt.Fprintln(s.Out, cli.Printable(line))
	}
}

// answer says what was taken back, and what follows of that.
func (o *undoOptions) answer(s cli.Env, e *gateway.Entered, target *event.Event) error {
	would := &e.Would[0]
	if would.Nothing {
		fmt.Fprintf(s.Err, "note: the record does not hold %s any more, so nothing changes\n", target.ID.ID)
	}
	if o.JSON {
		return o.encode(s, e)
	}
	lines := []string{"taken back: " + target.Time.Format(time.DateOnly) + " " + follows.What(target, follows.Said(e.Of[e.Events[0].Vehicle]))}
	for i := range would.Follows {
		lines = append(lines, follows.AsWritten.Line(&would.Follows[i]))
	}
	vehicle := e.Events[0].Vehicle
	switch d, _ := target.Data.(*event.AnswerData); {
	case d != nil && (d.Answer == "out of service" || d.Answer == "in service"):
		lines = append(lines, vehicle+" is "+map[bool]string{true: "out of service", false: "in service"}[e.Of[vehicle].Out])
	case len(would.Follows) == 0:
		lines = append(lines, "nothing else changes")
	}
	if err := printed(s.Out, lines...); err != nil {
		return err
	}
	o.nothingEntered(s)
	return nil
}
