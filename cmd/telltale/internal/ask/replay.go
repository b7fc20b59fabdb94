package ask

import (
	"bufio"
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/engine/replay"
	"telltale/engine/stream"
	"telltale/rules/english"
)

type replayOptions struct {
	rules, vehicles, until string
	against, people        string
	json, all              bool
	skipped                map[event.Kind]int // of what a service wrote for itself
}

func replayCommand(s cli.Env) *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use:   "replay --rules DIR EVENTS.jsonl",
		Short: "Run a file of events without a server and print what the alarms do",
		Long: `Run a file of events through the same code as the service, without a server, and print
each change of an alarm. The same events always give the same changes.

--against compares two sets of rules over the same events: alarms that only one of them
raises, and alarms that come earlier or later, or are worse or milder.

telltale events exports a service's events. Its own notes, such as which rules came into
force, are skipped, since the rules are those of --rules.`,
		Example: `  telltale replay --rules fleet/rules --vehicles fleet/vehicles.yaml fleet/events.jsonl
  telltale replay --rules fleet/rules --json --until 2031-12-31 events.jsonl
  telltale replay --rules new-rules --against fleet/rules --vehicles fleet/vehicles.yaml events.jsonl`,
		Args: cli.Wants(1, 1, "which file of events?", "telltale replay --rules fleet/rules events.jsonl"),
		RunE: func(_ *cobra.Command, args []string) error {
			o.skipped = map[event.Kind]int{}
			if o.against != "" {
				return whatIf(s, o, args[0])
			}
			return replayFile(s, o, args[0])
		},
	}
	cmd.Flags().StringVar(&o.rules, "rules", "", "folder of rule files (required)")
	cmd.Flags().StringVar(&o.vehicles, "vehicles", "", "vehicles.yaml, if the events include no registrations")
	cmd.Flags().StringVar(&o.until, "until", "", "continue to this date (YYYY-MM-DD)")
	cmd.Flags().BoolVar(&o.json, "json", false, "one JSON object a line")
	cmd.Flags().BoolVar(&o.all, "all", false, "also show what was not judged and what was refused")
	cmd.Flags().StringVar(&o.against, "against", "", "folder of other rules: show how the alarms of --rules differ from those")
	cmd.Flags().StringVar(&o.people, "people", "", "with --against: people.yaml, to count the messages each person would get")
	_ = cmd.MarkFlagRequired("rules") // the flag is defined above
	return cmd
}

func replayFile(s cli.Env, o replayOptions, path string) error {
	r := &replayed{o: o, out: bufio.NewWriter(s.Out)}
	p, err := foldFile(s, o, path, r.take)
	if err != nil {
		return err
	}
	if err := r.out.Flush(); err != nil {
		return fmt.Errorf("writing the transitions: %w", err)
	}
	fmt.Fprintf(s.Err, "replay: %d events, %d transitions, %d refused, %d not judged\n", r.events, r.transitions, r.refused, r.notJudged)
	o.noteSkipped(s)
	if r.parts > 0 {
		fmt.Fprintf(s.Err, "replay: not all of %s was used: --all shows what was not, and why\n", english.Plural(r.parts, "event"))
	}
	cli.Strangers(s, p.AskedBy(p.By).Unregistered())
	return nil
}

// skip counts what is passed by because a service wrote it for itself.
func (o *replayOptions) skip(ev event.Event) {
	if o.skipped != nil {
		o.skipped[ev.Kind]++
	}
}

// skippedWords are what was passed by, in words, and why.
var skippedWords = []struct {
	kind      event.Kind
	one, many string
}{
	{event.BookEvent, "adoption of rules", "adoptions of rules"}, {event.TurnEvent, "date of a list", "dates of lists"},
	{event.SurveyEvent, "survey", "surveys"}, {event.BaselineEvent, "set of baselines", "sets of baselines"},
}

// noteSkipped tells it, and by which rules the file was judged.
func (o *replayOptions) noteSkipped(s cli.Env) {
	var parts []string
	for _, w := range skippedWords {
		if n := o.skipped[w.kind]; n > 0 {
			parts = append(parts, english.Counted(n, w.one, w.many))
		}
	}
	if parts != nil {
		fmt.Fprintf(s.Err, "replay: skipped %s, which a service wrote for itself; judged by the rules in %s\n", english.List("and", parts), o.rules)
	}
}

// flags adds those by which a file is asked instead of a running service.
func (o *replayOptions) flags(cmd *cobra.Command, rules string) {
	cmd.Flags().StringVar(&o.rules, "rules", "", rules)
	cmd.Flags().StringVar(&o.vehicles, "vehicles", "", "with --rules: vehicles.yaml, if the events include no registrations")
	cmd.Flags().StringVar(&o.until, "until", "", "with --rules: continue to this date (YYYY-MM-DD)")
}

// asker is who reads what a file of events comes to: somebody of the folder that the rules
// and the register are in, or a program.
func (o *replayOptions) asker(s cli.Env) engine.Asker {
	dir := filepath.Dir(cmp.Or(o.vehicles, filepath.Clean(o.rules)))
	if o.json || s.Reads == nil {
		return engine.Asker{Based: o.json}
	}
	return engine.Asker{Units: s.Reads(dir)}
}

// split takes the file of events off the arguments of a command, which are to be at
// least and at most so many without it: with --rules it is the last one.
func (o *replayOptions) split(args []string, least, most int, command string) (_ []string, file string, err error) {
	switch {
	case o.rules != "" && len(args) <= least:
		call := strings.Join(append([]string{"telltale", command}, args...), " ")
		return nil, "", cli.Exit(2, cli.Hint(errors.New("no file of events is named"), call+" --rules "+o.rules+" events.jsonl"))
	case o.rules == "" && len(args) > most:
		return nil, "", cli.Exit(2, cli.Hint(fmt.Errorf("%s is a file of events, but the rules are not named", args[most]), "add --rules DIR"))
	case o.rules == "":
		return args, "", nil
	}
	return args[:len(args)-1], args[len(args)-1], nil
}

func arg(args []string, i int) string {
	if i < len(args) {
		return args[i]
	}
	return ""
}

// foldFile folds a file of events by the rules of a folder.
func foldFile(s cli.Env, o replayOptions, path string, said func(event.Event, []engine.Output)) (*engine.Partition, error) {
	book, err := cli.Book(o.rules)
	if err != nil {
		return nil, err
	}
	how, err := File(o.vehicles, o.until)
	if err != nil {
		return nil, err
	}
	how.Skipped, how.By = o.skip, o.asker(s)
	file, err := OpenEvents(path, &how)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	p, err := how.Fold(file, book, said)
	if err != nil {
		return nil, cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	return p, nil
}

// File says how a file of events is folded, before it is opened: with the register
// in a file, if one is named, and ticks up to a date, if one is.
func File(vehicles, until string) (how replay.File, err error) {
	if until != "" {
		if how.Until, err = time.Parse(time.DateOnly, until); err != nil {
			return how, cli.Exit(2, cli.Hint(fmt.Errorf("--until %q is not a date", until), "write it as --until 2031-12-31"))
		}
	}
	if vehicles != "" {
		how.Register, err = cli.Register(vehicles, stream.Unclocked)
	}
	return how, err
}

// OpenEvents opens a file of events and has how it is folded heed what it has of its own.
func OpenEvents(path string, how *replay.File) (*os.File, error) {
	file, err := os.Open(path)
	if err != nil {
		return nil, cli.Exit(2, err)
	}
	if how.Own, err = intake.Holds(file); err == nil {
		_, err = file.Seek(0, io.SeekStart)
	}
	if err != nil {
		file.Close()
		return nil, cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	return file, nil
}

// replayed prints what follows from a file's events, and counts it.
type replayed struct {
	o   replayOptions
	out *bufio.Writer

	events, transitions, refused, parts, notJudged int
}

func (r *replayed) take(ev event.Event, out []engine.Output) {
	if ev.Line > 0 {
		r.events++
	}
	for _, o := range out {
		r.say(o)
	}
}

func (r *replayed) say(o engine.Output) {
	switch {
	case o.Transition != nil:
		r.transitions++
		r.print(o.Transition, cli.TransitionLine(o.Transition))
	case o.Refused != nil:
		if o.Refused.Kept {
			r.parts++
		} else {
			r.refused++
		}
		if r.o.all {
			r.print(o.Refused, cli.RefusalLine(o.Refused))
		}
	case o.NotJudged != nil:
		r.notJudged++
		if r.o.all {
			r.print(o.NotJudged, cli.NotJudgedLine(o.NotJudged))
		}
	}
}

func (r *replayed) print(v any, line string) {
	if !r.o.json {
		fmt.Fprintln(r.out, line)
		return
	}
	_ = cli.Encode(r.out, v) // the shapes always encode; a write that fails shows at the flush
}
