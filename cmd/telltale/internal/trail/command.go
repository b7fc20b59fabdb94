// Package trail is who did what, as the program knows it: the command that lists it, and
// what the service writes down of its own folder.
package trail

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/stream/audit"
)

type options struct {
	cli.Client
	who, vehicle, what, since string
	most                      int
}

// Command is audit, which lists who did what.
func Command(s cli.Env) *cobra.Command {
	var o options
	cmd := &cobra.Command{
		Use:   "audit",
		Short: "List who did what: signed in, entered, saved files, were refused",
		Long: `List who did what, the newest last: who signed in, what was entered by whom, which files
were saved, what was refused, when rules and people came into force. It is kept for 400
days, and nobody can change it. Addresses are cut to their networks.

Only who may read the service's folder can list it, or an operator on the board.`,
		Example: `  telltale audit --dir fleet
  telltale audit --dir fleet --who ines --since 2026-11-01
  telltale audit --dir fleet --vehicle bus-07 --json`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			q, err := o.query()
			if err != nil {
				return err
			}
			return o.AskOrOpen(cmd.Context(), func(ctx context.Context, nc *nats.Conn) error { return o.list(ctx, s, nc, q) })
		},
	}
	o.Flags(cmd, s)
	cmd.Flags().StringVar(&o.who, "who", "", "only what this person did; /devices/NAME is a tablet")
	cmd.Flags().StringVar(&o.vehicle, "vehicle", "", "only what was done to the vehicle of this name")
	cmd.Flags().StringVar(&o.what, "what", "", "only this: "+kinds())
	cmd.Flags().StringVar(&o.since, "since", "", "only from this day on, as 2026-11-30")
	cmd.Flags().IntVar(&o.most, "most", 1000, "no more than this many, the newest")
	return cmd
}

func kinds() string {
	var list []string
	for _, k := range audit.Kinds() {
		list = append(list, string(k))
	}
	return strings.Join(list, ", ")
}

// query is what the flags ask for.
func (o *options) query() (audit.Query, error) {
	q := audit.Query{Who: o.who, Vehicle: o.vehicle, What: audit.What(o.what), Limit: o.most}
	if q.Who != "" && !strings.HasPrefix(q.Who, "/") {
		q.Who = "/people/" + q.Who
	}
	if !strings.Contains(", "+kinds()+", ", ", "+cmp.Or(o.what, string(audit.Work))+", ") {
		return q, cli.Exit(2, cli.Hint(fmt.Errorf("there is no kind %q", o.what), "one of: "+kinds()))
	}
	if o.most < 1 || o.most > 1_000_000 {
		return q, cli.Exit(2, fmt.Errorf("--most %d: want from 1 to 1,000,000", o.most))
	}
	if o.since == "" {
		return q, nil
	}
	day, err := time.ParseInLocation(time.DateOnly, o.since, time.Local)
	if err != nil {
		return q, cli.Exit(2, cli.Hint(fmt.Errorf("--since %q is no day", o.since), "write it as 2026-11-30"))
	}
	q.Since = day
	return q, nil
}

// pageSize is how many entries are read at once.
const pageSize = 1000

// list prints the entries, the newest last.
func (o *options) list(ctx context.Context, s cli.Env, nc *nats.Conn, q audit.Query) error {
	l, err := audit.Find(ctx, nc)
	switch {
	case errors.Is(err, jetstream.ErrStreamNotFound):
		return cli.Hint(errors.New("the service keeps no list of who did what"), "it does since this version: start it again with this program")
	case err != nil: // who may not read it gets no answer
		return cli.Hint(fmt.Errorf("reading who did what: %w", err), "it is read with the key in the service's folder: telltale audit --dir DIR, as the user who runs the service")
	}
	var list []audit.Stored
	for q.Limit = min(pageSize, o.most); ; q.Limit = min(pageSize, o.most-len(list)) {
		p, err := l.List(ctx, q)
		if err != nil {
			return err
		}
		list = append(list, p.Entries...)
		if q.Before = p.Next; p.Next == 0 || len(list) >= o.most {
			break
		}
	}
	slices.Reverse(list)
	return cli.Listing(s, o.JSON, list, nil, "nothing of that kind was done", line)
}

// line is an entry as a terminal shows it.
func line(e audit.Stored) string {
	text := e.Time.Format("2006-01-02 15:04") + "  " + e.Says(audit.Called(e.Who), e.Vehicle)
	for _, more := range parts(strings.Join(parts(e.How.Way(), from(e.From)), ", "), e.Beside()) {
		text += "\n" + strings.Repeat(" ", 18) + more
	}
	return text
}

func from(network string) string {
	if network == "" {
		return ""
	}
	return "from " + network
}

// parts are the texts that say something.
func parts(list ...string) (out []string) {
	for _, s := range list {
		if s != "" {
			out = append(out, s)
		}
	}
	return out
}
