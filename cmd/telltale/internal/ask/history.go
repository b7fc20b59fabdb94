package ask

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/history"
	"telltale/engine/stream/service"
	"telltale/notify/handover"
	"telltale/rules/english"
	"telltale/rules/source"
)

type historyOptions struct {
	cli.Client
	replayOptions
	csv  bool
	html string
}

func historyCommand(s cli.Env) *cobra.Command {
	var o historyOptions
	cmd := &cobra.Command{
		Use:   "history VEHICLE [EVENTS.jsonl]",
		Short: "Print a vehicle's service history, to hand over with it",
		Long: `Print a vehicle's service history with its evidence: work done, fluid samples and how
they were judged, meter values, alarms, and how people answered them, each with its
source and date. It is printed as text, JSON or CSV, or as a page for paper.

The running service answers; with --rules, a file of events is run instead.`,
		Example: `  telltale history bus-07 --dir fleet
  telltale history bus-07 --dir fleet --html bus-07.html
  telltale history bus-07 --rules fleet/rules --vehicles fleet/vehicles.yaml events.jsonl --csv`,
		Args: cli.Wants(1, 2, "which vehicle?", "telltale history bus-07"),
		RunE: func(cmd *cobra.Command, args []string) error { return tellHistory(cmd.Context(), s, &o, args) },
	}
	o.Client.Flags(cmd, s)
	f := cmd.Flags()
	f.BoolVar(&o.csv, "csv", false, "as CSV with a heading")
	f.StringVar(&o.html, "html", "", "write a page to print into this file (- is the standard output)")
	o.replayOptions.flags(cmd, "folder of rule files; the last argument is then a file of events")
	return cmd
}

func tellHistory(ctx context.Context, s cli.Env, o *historyOptions, args []string) error {
	forms := 0
	for _, on := range []bool{o.Client.JSON, o.csv, o.html != ""} {
		if on {
			forms++
		}
	}
	if forms > 1 {
		return cli.Exit(2, cli.Hint(errors.New("--json, --csv and --html exclude one another"), "choose one"))
	}
	o.json = o.Client.JSON
	args, file, err := o.split(args, 1, 1, "history")
	if err != nil {
		return err
	}
	if file != "" {
		list, all, err := historyOfFile(s, o.replayOptions, args[0], file)
		if err != nil {
			return err
		}
		return o.show(s, args[0], list, all)
	}
	return o.Ask(ctx, func(ctx context.Context, nc *nats.Conn) error {
		list, err := listOf(ctx, nc, service.History, service.Question{Vehicle: args[0], Units: o.Units()})
		if err != nil {
			return err
		}
		return o.show(s, args[0], list, nil)
	})
}

// historyOfFile folds a file and collects what it holds of the vehicle beside the
// record; all are the vehicles that it knows.
func historyOfFile(s cli.Env, o replayOptions, vehicle, path string) (list []history.Entry, all []string, err error) {
	var whole history.Past // of all vehicles: which names are this one's is known at the end
	p, err := foldFile(s, o, path, func(ev event.Event, out []engine.Output) {
		if ev.Kind != event.ReadingEvent {
			whole.Events = append(whole.Events, ev)
		}
		for _, o := range out {
			switch {
			case o.Transition != nil:
				whole.Transitions = append(whole.Transitions, *o.Transition)
			case o.Refused != nil:
				whole.Refused = append(whole.Refused, *o.Refused)
			}
		}
	})
	if err != nil {
		return nil, nil, err
	}
	if vehicle, err = meantIn(p, vehicle); err != nil {
		return nil, nil, err
	}
	return history.Extend(p.History(vehicle), whole.Only(p.AskedBy(p.By).NamesOf(vehicle))), p.Vehicles(), nil
}

func (o *historyOptions) show(s cli.Env, vehicle string, list []history.Entry, all []string) error {
	if len(list) == 0 {
		return cli.Exit(2, cli.Hint(fmt.Errorf("no vehicle %q is registered", vehicle), DidYouMean(source.Near(vehicle, all), all)))
	}
	switch {
	case o.Client.JSON:
		return cli.Listing(s, true, list, nil, "", nil)
	case o.csv:
		return handover.CSV(s.Out, list)
	case o.html != "":
		return writePage(s, o.html, func(w io.Writer) error { return handover.Page(w, list) })
	}
	_, err := io.WriteString(s.Out, historyText(list))
	return err
}

// historyText is the history on a terminal: what was done and found in order, then
// the meter values by themselves, which are many.
func historyText(list []history.Entry) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s (%s)\n", cli.Printable(list[0].Text), list[0].Vehicle)
	part := func(heading string, what ...string) {
		for i := range list {
			if e := &list[i]; slices.Contains(what, e.What) {
				b.WriteString(heading + historyLines(e))
				heading = "" // it stands above the first
			}
		}
	}
	part("\nWork and samples\n", history.WhatWork, history.WhatSample, history.WhatReplaced)
	part("\nAlarms and answers\n", history.WhatAlarm, history.WhatAnswer)
	part("\nOther meter readings\n", history.WhatReading)
	return b.String()
}

func historyLines(e *history.Entry) string {
	line := e.Date + "  " + english.OneLine(e.Text)
	if e.TakenOut {
		line += " [withdrawn later; it does not count]"
	}
	var more []string
	if m := e.MetersLine(); m != "" && e.What != history.WhatReading {
		more = append(more, m)
	}
	if e.Sample != nil && !e.Sample.ByHand() { // of which the text has all values
		more = append(more, e.ResultsLine())
	}
	for _, d := range e.Doubts {
		more = append(more, "doubted: "+english.OneLine(d))
	}
	switch {
	case e.Event == nil:
	case e.What == history.WhatReading:
		line += "  [" + eventOf(e) + "]"
	default:
		more = append(more, "["+eventOf(e)+"]")
	}
	out := cli.Printable(line) + "\n"
	for _, m := range more {
		out += strings.Repeat(" ", 12) + cli.Printable(m) + "\n"
	}
	return out
}

// eventOf is the event that an entry comes from; "" without one.
func eventOf(e *history.Entry) string {
	if e.Event == nil {
		return ""
	}
	return cli.Printable(english.OneLine(e.Event.Source + " " + e.Event.ID))
}
