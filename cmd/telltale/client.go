package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"
	"unicode"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/engine/stream/service"
)

// client is how a command finds the running service.
type client struct {
	dir, url string
	json     bool
}

func (c *client) flags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&c.dir, "dir", "", "folder of the service, which tells its address")
	cmd.Flags().StringVar(&c.url, "nats", "", "address of the NATS server (default nats://127.0.0.1:4222)")
	cmd.Flags().BoolVar(&c.json, "json", false, "one JSON object a line")
}

// address is where the service listens: as given, or as its folder says.
func (c *client) address() (string, error) {
	switch {
	case c.url != "":
		return c.url, nil
	case c.dir == "":
		return nats.DefaultURL, nil
	}
	if text, err := os.ReadFile(filepath.Join(c.dir, "nats.url")); err == nil {
		return strings.TrimSpace(string(text)), nil
	}
	set, err := loadSettings(c.dir)
	if err != nil {
		return "", exit{2, err}
	}
	if set.NATS != "" {
		return set.NATS, nil
	}
	return "", hinted{fmt.Errorf("no service runs in %s", c.dir), "telltale serve --dir " + c.dir}
}

// connect makes a connection to the server behind the address.
func (c *client) connect() (*nats.Conn, error) {
	url, err := c.address()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(url, nats.Name("telltale"), nats.Timeout(5*time.Second))
	if err != nil {
		return nil, hinted{fmt.Errorf("connecting to %s: %w", url, err), "is `telltale serve` running? name its folder with --dir, or its address with --nats"}
	}
	return nc, nil
}

// ask runs a question on a connection.
func (c *client) ask(ctx context.Context, do func(context.Context, *nats.Conn) error) error {
	nc, err := c.connect()
	if err != nil {
		return err
	}
	defer nc.Close()
	if err := do(ctx, nc); errors.Is(err, service.ErrNoService) {
		return hinted{err, "NATS answers there, but nothing behind it does: start `telltale serve`"}
	} else if err != nil {
		return err
	}
	return nil
}

// printable takes away what could drive a terminal or turn its text around.
func printable(s string) string {
	return strings.Map(func(r rune) rune {
		if r != '\n' && (unicode.IsControl(r) || unicode.Is(unicode.Cf, r)) {
			return -1
		}
		return r
	}, s)
}

// lacking is err, where partitions did not answer with an exit code of its own and
// what to do.
func lacking(err error) error {
	if i := incomplete(err); i != nil {
		return exit{3, hinted{i, "the answer lacks their vehicles; ask again in a moment"}}
	}
	return err
}

func incomplete(err error) (i *service.Incomplete) {
	errors.As(err, &i)
	return i
}

// listing prints a list, a line or a JSON object each; empty says so on stderr. A
// list that lacks the vehicles of some partitions says so too: in JSON by a last
// object with their numbers.
func listing[T any](s streams, asJSON bool, list []T, err error, empty string, line func(T) string) error {
	missing := incomplete(err)
	if err != nil && missing == nil {
		return err
	}
	if len(list) == 0 && missing == nil {
		fmt.Fprintln(s.err, empty)
	}
	enc := json.NewEncoder(s.out)
	enc.SetEscapeHTML(false)
	for _, item := range list {
		if asJSON {
			err = enc.Encode(item)
		} else {
			_, err = fmt.Fprintln(s.out, printable(line(item)))
		}
		if err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	if missing == nil {
		return nil
	}
	if asJSON {
		if err := enc.Encode(map[string][]int{"unanswered": missing.Partitions}); err != nil {
			return fmt.Errorf("writing the list: %w", err)
		}
	}
	return lacking(missing)
}
