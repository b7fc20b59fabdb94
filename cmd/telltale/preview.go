package main

import (
	"context"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/notify/mail"
	"telltale/notify/people"
	"telltale/notify/preview"
	"telltale/rules/english"
)

type previewOptions struct {
	to, rules, vehicles, people, out, until string
}

func previewCommand(s cli.Env) *cobra.Command {
	var o previewOptions
	cmd := &cobra.Command{
		Use:   "preview --to PERSON --rules DIR --people FILE EVENTS.jsonl",
		Short: "Show which messages a person would have got for a file of events",
		Long: `Run a file of events as the service would, and count the messages a person would have got
each month. With --out, the messages are written as files: mails, and their HTML to look
at. Nothing is sent.`,
		Example: `  telltale preview --to tobias --rules fleet/rules --vehicles fleet/vehicles.yaml --people fleet/people.yaml fleet/events.jsonl`,
		Args:    cli.Wants(1, 1, "which file of events?", "telltale preview --to ines --rules fleet/rules --people fleet/people.yaml events.jsonl"),
		RunE:    func(cmd *cobra.Command, args []string) error { return previewTo(cmd.Context(), s, o, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&o.to, "to", "", "id of the person in people.yaml, or everyone")
	f.StringVar(&o.rules, "rules", "", "folder of rule files (required)")
	f.StringVar(&o.people, "people", "", "people.yaml (required)")
	f.StringVar(&o.vehicles, "vehicles", "", "vehicles.yaml, if the events include no registrations")
	f.StringVar(&o.out, "out", "", "write the messages into this folder")
	f.StringVar(&o.until, "until", "", "continue to this date (YYYY-MM-DD)")
	for _, needed := range []string{"to", "rules", "people"} {
		_ = cmd.MarkFlagRequired(needed) // the flag is defined above
	}
	return cmd
}

func previewTo(ctx context.Context, s cli.Env, o previewOptions, path string) error {
	dir, err := people.Load(o.people)
	if err != nil {
		return cli.Exit(2, err)
	}
	if o.to != "everyone" && dir.Person(o.to) == nil {
		return cli.Exit(2, fmt.Errorf("there is no person %q in %s", o.to, o.people))
	}
	f := fleet{}
	if f.set, err = loadSettings(filepath.Dir(o.people)); err != nil {
		return cli.Exit(2, err)
	}
	c := preview.Config{Compose: letters(defaults().Mail.From).Compose}
	if c.Book, err = cli.Book(o.rules); err != nil {
		return err
	}
	f.book = c.Book
	c.People = dir.Reading(f.reads())
	if c.File, err = ask.File(o.vehicles, o.until); err != nil {
		return err
	}
	file, err := ask.OpenEvents(path, &c.File)
	if err != nil {
		return err
	}
	defer file.Close()
	all, err := preview.Run(ctx, file, c)
	if err != nil {
		return cli.Exit(2, fmt.Errorf("reading %s: %w", path, err))
	}
	all = slices.DeleteFunc(all, func(t preview.Told) bool { return o.to != "everyone" && t.Person != o.to })
	if o.out != "" {
		if err := writeTold(ctx, o.out, all); err != nil {
			return err
		}
	}
	months := map[string]int{}
	for _, t := range all {
		months[t.Person+"  "+t.Time.Format("2006-01")]++
	}
	for _, m := range slices.Sorted(maps.Keys(months)) {
		fmt.Fprintf(s.Out, "%s  %s\n", m, english.Plural(months[m], "message"))
	}
	fmt.Fprintf(s.Err, "preview: %s to %s\n", english.Plural(len(all), "message"), o.to)
	return nil
}

// writeTold writes each message as a file into the folder: mails with their HTML
// beside them, to look at.
func writeTold(ctx context.Context, dir string, all []preview.Told) error {
	for _, t := range all {
		folder := &mail.Folder{Dir: dir}
		if t.Way != people.Mail {
			folder.Ext = ".json"
		}
		if err := folder.Send(ctx, t.Delivery); err != nil {
			return err
		}
		if t.HTML == "" {
			continue
		}
		name := t.Time.UTC().Format("20060102T150405Z") + "-" + t.Key + ".html"
		if err := os.WriteFile(filepath.Join(dir, name), []byte(t.HTML), 0o644); err != nil {
			return fmt.Errorf("writing a message: %w", err)
		}
	}
	return nil
}
