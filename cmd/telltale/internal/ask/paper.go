package ask

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/people"
)

// paper is the due list for somebody to read: as a page to print in a file or, where no
// file is named, on the terminal.
type paper struct{ file, reader string }

func (p paper) wanted() bool { return p.file != "" || p.reader != "" }

// write makes the page of the list, with the alarms that are active on its vehicles.
func (p paper) write(ctx context.Context, s cli.Env, nc *nats.Conn, who *people.Person, q due.Query, only onlyStages, list []due.Item) error {
	if who == nil {
		who = anyone(list)
	}
	var alarms []alarm.Listed
	if q.On == "" && len(only) == 0 { // alarms are asked for as they stand now
		var err error
		if alarms, err = service.Alarms.Ask(ctx, nc, service.Question{Vehicle: q.Vehicle}); err != nil && cli.Incomplete(err) == nil {
			return err
		}
	}
	name, value, tagged := strings.Cut(q.Tag, "=")
	alarms = slices.DeleteFunc(alarms, func(a alarm.Listed) bool { return tagged && a.Tags[name] != value })
	heading := cmp.Or(q.Vehicle, q.Tag)
	today := q.On
	if today == "" {
		h, err := service.QueryHealth(ctx, nc)
		if err != nil {
			return err
		}
		today = h.Now.In(who.Zone).Format(time.DateOnly)
	}
	text, html, fault := notify.Paper(who, today, heading, list, alarms)
	switch {
	case fault != nil:
		return fmt.Errorf("writing the page: %w", fault)
	case p.file == "":
		_, err := fmt.Fprint(s.Out, cli.Printable(text))
		return err
	}
	return writePage(s, p.file, func(w io.Writer) error { _, err := io.WriteString(w, html); return err })
}

// anyone is somebody who reads as the list does.
func anyone(list []due.Item) *people.Person {
	who, reads := people.Anyone(""), common(list)
	who.Distance, who.Volume = reads.Distance, reads.Volume
	if slices.ContainsFunc(list, func(d due.Item) bool { return len(d.Reads) == 0 && inMiles(d.Why) }) {
		who.Distance = "mi"
	}
	return who
}

// inMiles reports whether the rules speak so, where nobody says how to read.
func inMiles(why string) bool { return strings.Contains(why, " mi;") || strings.HasSuffix(why, " mi") }

// who reads the page: the person named; nil where none is.
func (p paper) who(s cli.Env, dir string) (*people.Person, error) {
	if p.reader == "" {
		return nil, nil
	}
	if dir == "" {
		return nil, cli.Exit(2, cli.Hint(errors.New("--for needs the folder that holds people.yaml"), "add --dir fleet"))
	}
	all, err := people.Load(filepath.Join(dir, "people.yaml"))
	if err != nil {
		return nil, err
	}
	if s.Reads != nil {
		all = all.Reading(s.Reads(dir))
	}
	if who := all.Person(p.reader); who != nil {
		return who, nil
	}
	var ids []string
	for _, one := range all.People() {
		ids = append(ids, one.ID)
	}
	return nil, cli.Exit(2, cli.Hint(fmt.Errorf("people.yaml has no person %q", p.reader), DidYouMean("", ids)))
}

// writePage writes a page into a file, or to the standard output for "-".
func writePage(s cli.Env, file string, page func(io.Writer) error) error {
	if file == "-" {
		return page(s.Out)
	}
	f, err := os.Create(file)
	if err != nil {
		return fmt.Errorf("writing the page: %w", err)
	}
	return errors.Join(page(f), f.Close())
}
