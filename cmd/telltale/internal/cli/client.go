package cli

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/engine/stream/service"
)

// Client is how a command finds the running service.
type Client struct {
	Dir, URL, Key, CA string
	JSON              bool
	env               Env
	open              func(context.Context, string, func(context.Context, *nats.Conn) error) error
}

// Flags adds the flags by which the service is found, and --json.
func (c *Client) Flags(cmd *cobra.Command, s Env) {
	c.env, c.open = s, s.Open
	cmd.Flags().StringVar(&c.Dir, "dir", "", "folder of the service")
	cmd.Flags().StringVar(&c.URL, "nats", "", "address of the NATS server (default nats://127.0.0.1:4222)")
	cmd.Flags().StringVar(&c.Key, "key", "", "file with the key to sign in by (default: the one in the folder)")
	cmd.Flags().StringVar(&c.CA, "ca", "", "file with the authority's certificate to trust (default: the system's authorities)")
	cmd.Flags().BoolVar(&c.JSON, "json", false, "one JSON object a line")
}

// Units are those of a question: for a person those that the service knows, for a program
// none, which asks for the base units.
func (c *Client) Units() []string {
	if c.JSON {
		return nil
	}
	return []string{}
}

// ErrNoneRuns says that no service was found to be asked.
var ErrNoneRuns = errors.New("no service is running")

// noneRuns is an error that says so in words of its own.
type noneRuns struct{ error }

func (n noneRuns) Unwrap() error { return n.error }

func (noneRuns) Is(target error) bool { return target == ErrNoneRuns }

// NoneRuns says of an error that no service was found to be asked.
func NoneRuns(err error) error { return noneRuns{err} }

// door is how the service is reached: as given, or as its folder says.
func (c *Client) door() (d Door, err error) {
	if c.Dir != "" {
		if d, err = c.env.Door(c.Dir); err != nil && c.URL == "" {
			return d, Exit(2, err)
		}
	}
	if c.Key != "" {
		d.Key = c.Key
	}
	if c.CA != "" {
		d.CA = c.CA
	}
	switch {
	case c.URL != "": // which need not be the folder's service
		d.URL, d.Certificate = c.URL, ""
	case c.Dir == "":
		d.URL = nats.DefaultURL
	case d.URL == "":
		return d, Hint(NoneRuns(fmt.Errorf("no service is running in %s", c.Dir)), "telltale serve --dir "+c.Dir)
	}
	return d, nil
}

// AskOrOpen runs a question on a connection or, where the service of the folder is stopped
// and has a NATS server of its own, on the folder's files.
func (c *Client) AskOrOpen(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	if c.URL != "" || c.Dir == "" || c.open == nil || Exists(filepath.Join(c.Dir, "nats.url")) {
		return c.Ask(ctx, do)
	}
	set, err := c.env.Settings(c.Dir)
	if err != nil {
		return Exit(2, err)
	}
	if set.URL != "" {
		return c.Ask(ctx, do)
	}
	return c.open(ctx, c.Dir, do)
}

// connect makes a connection to the server; refused hears what the client may not do.
func (c *Client) connect(refused func(error)) (*nats.Conn, error) {
	d, err := c.door()
	if err != nil {
		return nil, err
	}
	nc, err := d.Open("telltale", 5*time.Second, nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) { refused(err) }))
	if err == nil {
		return nc, nil
	}
	return nil, OrHint(err, "is telltale serve running? Name its folder with --dir, or its address with --nats")
}

// Ask runs a question on a connection. What the client may not do ends it: no answer would
// come.
func (c *Client) Ask(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	nc, err := c.connect(func(err error) {
		if errors.Is(err, nats.ErrPermissionViolation) {
			end(err)
		}
	})
	if err != nil {
		return err
	}
	defer nc.Close()
	err = do(ctx, nc)
	if may := context.Cause(ctx); err != nil && errors.Is(may, nats.ErrPermissionViolation) {
		return Hint(fmt.Errorf("the service's people.yaml does not let this key do that: %w", may), "write what it may under programs: sends, asks or operator")
	}
	if errors.Is(err, service.ErrNoService) {
		return Hint(err, "there is a NATS server, but no service uses it: start telltale serve")
	}
	return err
}
