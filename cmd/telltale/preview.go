package main

import (
	"context"
	"encoding/base64"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream"
	"telltale/engine/stream/clock"
	"telltale/notify"
	"telltale/notify/mail"
)

type previewOptions struct {
	to, rules, vehicles, people, out, until string
}

func previewCommand(s cli.Env) *cobra.Command {
	var o previewOptions
	cmd := &cobra.Command{
		Use:   "preview --to PERSON --rules DIR --people FILE EVENTS.jsonl",
		Short: "Write what a person would have been told over a file of events, and send nothing",
		Long: `Folds a file of events as the service would, tells as the service would, and
writes the person's messages as files: mails, and their HTML to look at. What is
printed is how many there were in each month.`,
		Example: `  telltale preview --to tobias --rules fleet/rules --vehicles fleet/vehicles.yaml --people fleet/people.yaml fleet/events.jsonl`,
		Args:    cobra.ExactArgs(1),
		RunE:    func(cmd *cobra.Command, args []string) error { return preview(cmd.Context(), s, o, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&o.to, "to", "", "id of the person in people.yaml, or everyone")
	f.StringVar(&o.rules, "rules", "", "folder of rule files (needed)")
	f.StringVar(&o.people, "people", "", "people.yaml (needed)")
	f.StringVar(&o.vehicles, "vehicles", "", "register to begin with (vehicles.yaml)")
	f.StringVar(&o.out, "out", "", "folder to write the messages into; none are written without")
	f.StringVar(&o.until, "until", "", "go on ticking to this date (YYYY-MM-DD)")
	for _, needed := range []string{"to", "rules", "people"} {
		_ = cmd.MarkFlagRequired(needed) // the flag is defined above
	}
	return cmd
}

func preview(ctx context.Context, s cli.Env, o previewOptions, path string) error {
	people, err := notify.Load(o.people)
	if err != nil {
		return cli.Exit(2, err)
	}
	if o.to != "everyone" && people.Person(o.to) == nil {
		return cli.Exit(2, fmt.Errorf("nobody called %q in %s", o.to, o.people))
	}
	p, err := newPreviewer(ctx, o, people)
	if err != nil {
		return err
	}
	file, own, err := ask.OpenEvents(path)
	if err != nil {
		return err
	}
	defer file.Close()
	p.ticks = intake.NewTicks(own.Ticks)
	if !own.Baselines {
		p.p.SurveyMonthly()
	}
	if err := p.file(file); err != nil {
		return cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	return p.summary(s, o)
}

// previewer is the service in small: one partition, one notifier, a store that
// ends with it, and nothing that sends.
type previewer struct {
	ctx      context.Context // of the one run
	o        previewOptions
	people   *notify.Directory
	register []engine.Event
	known    map[string]*engine.VehicleData
	p        *engine.Partition
	n        *notify.Notifier
	store    kept
	ticks    *intake.Ticks
	marks    map[string]string
	last     time.Time // tick
	looked   time.Time // until when lists were asked for
	seq      uint64
	html     map[string]string // by key
}

func newPreviewer(ctx context.Context, o previewOptions, people *notify.Directory) (*previewer, error) {
	book, err := cli.Book(o.rules)
	if err != nil {
		return nil, err
	}
	p := &previewer{ctx: ctx, o: o, people: people, known: map[string]*engine.VehicleData{}, p: engine.NewPartition(),
		store: kept{}, html: map[string]string{}}
	if o.vehicles != "" {
		if p.register, err = cli.Register(o.vehicles, stream.Unclocked); err != nil {
			return nil, err
		}
	}
	from := defaults().Mail.From
	p.n = &notify.Notifier{
		Store: p.store, Partitions: 1, Log: slog.New(slog.DiscardHandler), Silent: func() map[string]bool { return outOfService(p.p.Alarms()) },
		Sample:   func(vehicle, component string) []engine.Verdict { return p.p.Verdicts(vehicle, component) },
		Register: func(id string) notify.Vehicle { return notify.VehicleOf(id, p.known[id]) },
		Compose: map[string]notify.Composer{"mail": func(m notify.Message) (string, []byte, error) {
			p.html[m.Key] = m.HTML
			for _, c := range m.Charts { // a page of its own has no mail to take pictures from
				p.html[m.Key] = strings.ReplaceAll(p.html[m.Key], "cid:"+c.ID, "data:image/png;base64,"+base64.StdEncoding.EncodeToString(c.PNG))
			}
			return letters(from).Compose(m)
		}},
	}
	p.n.SetDirectory(people)
	if _, err := p.n.Start(ctx); err != nil {
		return nil, err
	}
	return p, p.fold(engine.Event{Kind: engine.BookEvent, Data: &engine.BookData{Hash: book.Hash, Book: book}})
}

func (p *previewer) file(f io.Reader) error {
	err := intake.ReadFile(f, func(line int, ev engine.Event, err error) error {
		if err != nil {
			return nil // refused, which replay lists
		}
		for _, reg := range p.register {
			if reg, err = intake.At(reg, ev.Recorded); err == nil {
				err = p.fold(reg)
			}
			if err != nil {
				return err
			}
		}
		p.register = nil
		if ev.Kind == engine.TickEvent {
			return p.tick(ev)
		}
		for _, t := range p.ticks.Before(ev) {
			if err := p.tick(t); err != nil {
				return err
			}
		}
		if err := p.lists(ev.Recorded); err != nil {
			return err
		}
		return p.fold(ev)
	})
	if err != nil || p.o.until == "" {
		return err
	}
	how, err := ask.File("", p.o.until)
	if err != nil {
		return err
	}
	for _, t := range p.ticks.Until(how.Until) {
		if err := p.tick(t); err != nil {
			return err
		}
	}
	return nil
}

// tick asks for the lists that fall due, moves the clock, and then the notifier's.
func (p *previewer) tick(t engine.Event) error {
	if err := p.lists(t.Time); err != nil {
		return err
	}
	p.last = t.Time
	if err := p.fold(t); err != nil {
		return err
	}
	return p.n.Tick(p.ctx, t.Time)
}

// lists asks for the lists that fall due by a time. A list of the morning is made
// before what is reported later in the day, though a file's ticks are midnights.
func (p *previewer) lists(now time.Time) error {
	now = now.Truncate(clock.Quarter)
	if p.last.IsZero() || !now.After(p.looked) {
		return nil
	}
	p.looked = now
	if p.marks == nil {
		_, p.marks = notify.Turns(p.people, nil, p.last)
	}
	var turns []notify.Turn
	turns, p.marks = notify.Turns(p.people, p.marks, now)
	for _, turn := range turns {
		err := p.fold(engine.Event{Kind: engine.TurnEvent, Time: now, Recorded: now, Data: &engine.TurnData{Digest: turn.Person, Date: turn.Date}})
		if err != nil {
			return err
		}
	}
	return nil
}

func (p *previewer) fold(ev engine.Event) error {
	if d, ok := ev.Data.(*engine.VehicleData); ok {
		p.known[ev.Vehicle] = d
	}
	out := p.p.Apply(ev)
	if len(out) == 0 {
		return nil
	}
	p.seq++
	c := notify.Cause{Key: fmt.Sprintf("0-%d-0", p.seq)}
	for _, o := range out {
		switch {
		case o.Transition != nil:
			c.Time = o.Transition.Time
		case o.Turn != nil:
			c.Time = o.Turn.Now
		}
	}
	return p.n.Handle(p.ctx, p.seq, c, out)
}

// summary writes the person's messages and prints how many there were a month.
func (p *previewer) summary(s cli.Env, o previewOptions) error {
	list, err := notify.Deliveries(p.ctx, p.store)
	if err != nil {
		return err
	}
	slices.SortStableFunc(list, func(a, b notify.Delivery) int { return a.Time.Compare(b.Time) })
	months := map[string]int{}
	total := 0
	folder := &mail.Folder{Dir: o.out}
	for _, d := range list {
		if o.to != "everyone" && d.Person != o.to {
			continue
		}
		total++
		months[d.Person+"  "+d.Time.Format("2006-01")]++
		if o.out == "" {
			continue
		}
		if d.Way != "mail" {
			folder.Ext = ".json"
		}
		if err := folder.Send(p.ctx, d); err != nil {
			return err
		}
		folder.Ext = ""
		if html := p.html[d.Key]; html != "" {
			name := d.Time.UTC().Format("20060102T150405Z") + "-" + d.Key + ".html"
			if err := os.WriteFile(filepath.Join(o.out, name), []byte(html), 0o644); err != nil {
				return fmt.Errorf("writing a message: %w", err)
			}
		}
	}
	for _, m := range slices.Sorted(maps.Keys(months)) {
		fmt.Fprintf(s.Out, "%s  %s\n", m, cli.Plural(months[m], "message"))
	}
	fmt.Fprintf(s.Err, "preview: %s to %s\n", cli.Plural(total, "message"), o.to)
	return nil
}

// kept is a notify.Store that ends with the process.
type kept map[string][]byte

func (k kept) Create(_ context.Context, key string, body []byte) (bool, error) {
	if k[key] != nil {
		return false, nil
	}
	k[key] = body
	return true, nil
}

func (k kept) Replace(_ context.Context, key string, body []byte) error { k[key] = body; return nil }

func (k kept) Each(_ context.Context, do func(key string, body []byte) error) error {
	for _, key := range slices.Sorted(maps.Keys(k)) {
		if err := do(key, k[key]); err != nil {
			return err
		}
	}
	return nil
}

func (kept) Checkpoint(context.Context) ([]byte, error)  { return nil, nil }
func (kept) SetCheckpoint(context.Context, []byte) error { return nil }
