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
}

// Flags adds the flags by which the service is found, and --json.
func (c *Client) Flags(cmd *cobra.Command, s Env) {
	c.nats = s.NATS
	cmd.Flags().StringVar(&c.Dir, "dir", "", "folder of the service, which tells its address")
	cmd.Flags().StringVar(&c.URL, "nats", "", "address of the NATS server (default nats://127.0.0.1:4222)")
	cmd.Flags().BoolVar(&c.JSON, "json", false, "one JSON object a line")
}

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
	return "", Hint(fmt.Errorf("no service runs in %s", c.Dir), "telltale serve --dir "+c.Dir)
}

// connect makes a connection to the server behind the address.
func (c *Client) connect() (*nats.Conn, error) {
	url, err := c.address()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(url, nats.Name("telltale"), nats.Timeout(5*time.Second))
	if err != nil {
		return nil, Hint(fmt.Errorf("connecting to %s: %w", url, err), "is `telltale serve` running? name its folder with --dir, or its address with --nats")
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
		return Hint(err, "NATS answers there, but nothing behind it does: start `telltale serve`")
	}
	return err
}
