package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"time"

	"github.com/spf13/cobra"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/rules"
)

type replayOptions struct {
	rules, vehicles, until string
	against, people        string
	json, all, keepGoing   bool

	// seen and said are told what is folded and what comes of it; nil for nobody.
	seen func(engine.Event)
	said func(engine.Output)
}

func replayCommand(s streams) *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "replay --rules DIR EVENTS.jsonl",
		Short: "Fold a file of events and print the transitions, with no server",
		Example: `  telltale replay --rules fleet/rules --vehicles fleet/vehicles.yaml fleet/events.jsonl
  telltale replay --rules fleet/rules --json --until 2031-12-31 events.jsonl
  telltale replay --rules new-rules --against fleet/rules --vehicles fleet/vehicles.yaml events.jsonl`,
		Args: cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if o.against != "" {
				return whatIf(s, o, args[0])
			}
			return replay(s, o, args[0])
		},
	}
	cmd.Flags().StringVar(&o.rules, "rules", "", "folder of rule files (needed)")
	cmd.Flags().StringVar(&o.vehicles, "vehicles", "", "register to begin with (vehicles.yaml)")
	cmd.Flags().StringVar(&o.until, "until", "", "go on ticking to this date (YYYY-MM-DD)")
	cmd.Flags().BoolVar(&o.json, "json", false, "one JSON object a line")
	cmd.Flags().BoolVar(&o.all, "all", false, "also what was not judged, and what was refused")
	cmd.Flags().StringVar(&o.against, "against", "", "folder of other rule files: show how the alarms of --rules differ from theirs")
	cmd.Flags().StringVar(&o.people, "people", "", "with --against: people.yaml, to count the messages that each would get")
	cmd.Flags().BoolVar(&o.keepGoing, "keep-going", false, "with --against: report lines that cannot be read and go on")
	_ = cmd.MarkFlagRequired("rules") // the flag is defined above
	return cmd
}

func replay(s streams, o replayOptions, path string) error {
	out := bufio.NewWriter(s.out)
	r, err := foldFile(o, path, out)
	if err != nil {
		return err
	}
	if err := out.Flush(); err != nil {
		return fmt.Errorf("writing the transitions: %w", err)
	}
	fmt.Fprintf(s.err, "replay: %d events, %d transitions, %d refused, %d not judged\n", r.events, r.transitions, r.refused, r.notJudged)
	if r.parts > 0 {
		fmt.Fprintf(s.err, "replay: %d parts of events were not used: --all says which and why\n", r.parts)
	}
	strangers(s, r.p.Unregistered())
	return nil
}

// foldFile folds a file of events by the rules of a folder.
func foldFile(o replayOptions, path string, out io.Writer) (*replayer, error) {
	book, err := loadBook(o.rules)
	if err != nil {
		return nil, err
	}
	until, err := o.untilDate()
	if err != nil {
		return nil, err
	}
	var register []engine.Event
	if o.vehicles != "" {
		if register, err = loadRegister(o.vehicles, stream.Unclocked); err != nil {
			return nil, err
		}
	}
	file, own, err := openEvents(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	r := &replayer{o: o, p: engine.NewPartition(), register: register, ticks: intake.NewTicks(own.Ticks), out: out}
	if !own.Baselines {
		r.p.SurveyMonthly()
	}
	r.fold(bookEvent(book))
	if err := r.file(file); err != nil {
		return nil, exit{2, fmt.Errorf("reading %s: %w", path, err)}
	}
	if !until.IsZero() {
		for _, t := range r.ticks.Until(until) {
			r.fold(t)
		}
	}
	return r, nil
}

func bookEvent(b *rules.Book) engine.Event {
	return engine.Event{Kind: engine.BookEvent, Data: &engine.BookData{Hash: b.Hash, Book: b}}
}

func (o *replayOptions) untilDate() (time.Time, error) {
	if o.until == "" {
		return time.Time{}, nil
	}
	until, err := time.Parse(time.DateOnly, o.until)
	if err != nil {
		return until, exit{2, hinted{fmt.Errorf("--until %q is not a date", o.until), "write it as --until 2031-12-31"}}
	}
	return until, nil
}

// openEvents opens a file of events and looks what it has of its own.
func openEvents(path string) (_ *os.File, own intake.Own, err error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, own, exit{2, err}
	}
	own, err = intake.Holds(file)
	if err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	if err != nil {
		file.Close()
		return nil, own, exit{2, fmt.Errorf("reading %s: %w", path, err)}
	}
	return file, own, nil
}

// replayer folds a file's events and prints what follows.
type replayer struct {
	o     replayOptions
	p     *engine.Partition
	ticks *intake.Ticks
	out   io.Writer

	// register are the vehicles to register at the moment of the first event; nil
	// once that is done.
	register []engine.Event

	end time.Time // of the file: the latest that its events, or the ticks after it, come to

	events, transitions, refused, parts, notJudged int
}

func (r *replayer) file(f io.Reader) error {
	return intake.ReadFile(f, func(line int, ev engine.Event, err error) error {
		r.events++
		if err != nil {
			r.say(engine.Output{Refused: &engine.Refusal{Refused: err.Error(), Line: line}})
			return nil
		}
		if err := r.begin(ev.Recorded); err != nil {
			return err
		}
		for _, t := range r.ticks.Before(ev) {
			r.fold(t)
		}
		r.fold(ev)
		return nil
	})
}

// begin registers the vehicles of the register at the moment of the first event.
func (r *replayer) begin(at time.Time) error {
	for _, ev := range r.register {
		ev, err := intake.At(ev, at)
		if err != nil {
			return fmt.Errorf("registering vehicle %q: %w", ev.Vehicle, err)
		}
		r.fold(ev)
	}
	r.register = nil
	return nil
}

func (r *replayer) fold(ev engine.Event) {
	if ev.Recorded.After(r.end) {
		r.end = ev.Recorded
	}
	if r.o.seen != nil {
		r.o.seen(ev)
	}
	for _, o := range r.p.Apply(ev) {
		if r.o.said != nil {
			r.o.said(o)
		}
		r.say(o)
	}
}

func (r *replayer) say(o engine.Output) {
	switch {
	case o.Transition != nil:
		r.transitions++
		r.print(o.Transition, transitionLine(o.Transition))
	case o.Refused != nil:
		if o.Refused.Kept {
			r.parts++
		} else {
			r.refused++
		}
		if r.o.all {
			r.print(o.Refused, refusalLine(o.Refused))
		}
	case o.NotJudged != nil:
		r.notJudged++
		if r.o.all {
			r.print(o.NotJudged, notJudgedLine(o.NotJudged))
		}
	}
}

func (r *replayer) print(v any, line string) {
	if !r.o.json {
		fmt.Fprintln(r.out, line)
		return
	}
	enc := json.NewEncoder(r.out)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // the shapes always encode; a write that fails shows at the flush
}
