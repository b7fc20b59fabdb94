package listen

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/cmd/telltale/internal/cli"
	"telltale/rules/source"
)

// Before says, before a service starts, what keeps it from listening: addresses that are none
// of this machine's, and a certificate that cannot be used. s and m are telltale.yaml and its
// keys, nil where there is none; nats is as in [Settings.Check], but may be a flag's.
func (set *Settings) Before(ctx context.Context, s *source.Document, m map[string]*yaml.Node, nats string) error {
	return errors.Join(set.reachable(ctx, s, m, nats), set.paired(s, m, nats))
}

// reachable says which of the addresses to listen on are none of this machine's.
func (set *Settings) reachable(ctx context.Context, s *source.Document, m map[string]*yaml.Node, nats string) error {
	var faults source.Faults
	for key, address := range map[string]string{"listen": nats, "answers": set.Answers.Listen, "board": set.Board.Listen} {
		n := m[key]
		if address == "" || n == nil || n.Kind == yaml.ScalarNode && n.Value != address { // by a flag
			continue
		}
		if err := here(ctx, address); err != nil {
			faults = append(faults, s.NewFault(n, "name an address of this machine, such as 127.0.0.1", "%s: cannot listen on %s: %v", key, address, err))
		}
	}
	if faults == nil {
		return nil
	}
	return faults.Sorted()
}

// paired says what is wrong with the certificate and its key.
func (set *Settings) paired(s *source.Document, m map[string]*yaml.Node, nats string) error {
	if bare := set.Bare(nats); bare != nil { // by a flag
		return cli.Hint(bare, bare.Hint)
	}
	_, err := set.Open(nats, slog.New(slog.DiscardHandler))
	fault, ok := errors.AsType[*certificate.Fault](err)
	if !ok {
		return err
	}
	n := m["certificate"]
	if fault.OfKey {
		n = m["key"]
	}
	return source.Faults{s.NewFault(n, fault.Hint, "%s", fault.Text)}
}

// here reports an address whose host is not known, or not this machine. Any port will do:
// the one that is meant may be the running service's.
func here(ctx context.Context, address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", net.JoinHostPort(host, "0"))
	if err == nil {
		return l.Close()
	}
	if dns := (*net.DNSError)(nil); errors.As(err, &dns) {
		return fmt.Errorf("the name %s is not known", host)
	}
	var op *net.OpError
	if errors.As(err, &op) {
		return errors.New(strings.TrimPrefix(op.Err.Error(), "bind: "))
	}
	return err
}
