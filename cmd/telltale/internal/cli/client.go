package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/engine/stream/service"
)

// Client is how a command finds the running service.
type Client struct {
	Dir, URL string
	JSON     bool
	nats     func(dir string) (string, error)
	open     func(context.Context, string, func(context.Context, *nats.Conn) error) error
}

// Flags adds the flags by which the service is found, and --json.
func (c *Client) Flags(cmd *cobra.Command, s Env) {
	c.nats, c.open = s.NATS, s.Open
	cmd.Flags().StringVar(&c.Dir, "dir", "", "folder of the service")
	cmd.Flags().StringVar(&c.URL, "nats", "", "address of the NATS server (default nats://127.0.0.1:4222)")
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

// address is where the service listens: as given, or as its folder says.
func (c *Client) address() (string, error) {
	switch {
	case c.URL != "":
		return c.URL, nil
	case c.Dir == "":
		return nats.DefaultURL, nil
	}
	if text, err := os.ReadFile(filepath.Join(c.Dir, "nats.url")); err == nil {
		return strings.TrimSpace(string(text)), nil
	}
	url, err := c.nats(c.Dir)
	if err != nil {
		return "", Exit(2, err)
	}
	if url != "" {
		return url, nil
	}
	return "", Hint(NoneRuns(fmt.Errorf("no service is running in %s", c.Dir)), "telltale serve --dir "+c.Dir)
}

// AskOrOpen runs a question on a connection or, where the service of the folder is stopped
// and has a NATS server of its own, on the folder's files.
func (c *Client) AskOrOpen(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	if c.URL != "" || c.Dir == "" || c.open == nil || Exists(filepath.Join(c.Dir, "nats.url")) {
		return c.Ask(ctx, do)
	}
	url, err := c.nats(c.Dir)
	if err != nil {
		return Exit(2, err)
	}
	if url != "" {
		return c.Ask(ctx, do)
	}
	return c.open(ctx, c.Dir, do)
}

// connect makes a connection to the server behind the address.
func (c *Client) connect() (*nats.Conn, error) {
	url, err := c.address()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(url, nats.Name("telltale"), nats.Timeout(5*time.Second))
	if err != nil {
		return nil, Hint(NoneRuns(fmt.Errorf("connecting to %s: %w", url, err)), "is telltale serve running? Name its folder with --dir, or its address with --nats")
	}
	return nc, nil
}

// Ask runs a question on a connection.
func (c *Client) Ask(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	nc, err := c.connect()
	if err != nil {
		return err
	}
	defer nc.Close()
	if err = do(ctx, nc); errors.Is(err, service.ErrNoService) {
		return Hint(err, "there is a NATS server, but no service uses it: start telltale serve")
	}
	return err
}
