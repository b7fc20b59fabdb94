package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/cmd/telltale/internal/certificate"
	"telltale/cmd/telltale/internal/cli"
	"telltale/notify/programs/gate"
	"telltale/notify/webhook"
	"telltale/rules/source"
)

// Before a service starts, what its files name is looked for: secrets, addresses and
// folders. What is missing would else show in the middle of the night, as the first
// message that could not be sent.

// before says what hinders a service of the folder, all at once.
func (f *fleet) before(ctx context.Context) error {
	return errors.Join(f.people.Check(f.secretFile, f.writable, f.tokenFile), f.set.reachable(ctx), f.set.paired(), f.closed(), own(f.dir))
}

// closed says that strangers could send and ask.
func (f *fleet) closed() error {
	fault := f.set.Strangers(f.set.ownNATS(), f.people.Closed())
	n := f.set.at["listen"]
	switch {
	case fault == nil:
		return nil
	case n == nil || n.Value != f.set.Listen: // by a flag
		return cli.Hint(fault, fault.Hint)
	}
	return source.Faults{f.set.file.NewFault(n, fault.Hint, "%s", fault.Text)}
}

// secretFile says what is wrong with the file of a webhook's secret.
func (f *fleet) secretFile(path string) error {
	text, err := os.ReadFile(inside(f.dir, path))
	if errors.Is(err, fs.ErrNotExist) {
		return errors.New("there is no such file")
	}
	if err != nil {
		return plain(err)
	}
	_, err = webhook.Key(string(text))
	return err
}

// tokenFile says what is wrong with the file of a program's token.
func (f *fleet) tokenFile(path string) error {
	_, err := gate.TokenFile(inside(f.dir, path))
	return plain(err)
}

// writable says what hinders writing into a folder, which may be made later.
func (f *fleet) writable(path string) error { return writable(inside(f.dir, path)) }

func writable(path string) error {
	for ; ; path = filepath.Dir(path) {
		info, err := os.Stat(path)
		switch {
		case errors.Is(err, fs.ErrNotExist) && filepath.Dir(path) != path:
			continue // it is made in the one above
		case err != nil:
			return plain(err)
		case !info.IsDir():
			return fmt.Errorf("%s is a file", path)
		}
		probe, err := os.CreateTemp(path, ".telltale-*")
		if err != nil {
			return plain(err)
		}
		return errors.Join(probe.Close(), os.Remove(probe.Name()))
	}
}

// plain is what the system says, without the path that the fault names anyhow.
func plain(err error) error {
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		return p.Err
	}
	return err
}

func own(dir string) error {
	if err := writable(dir); err != nil {
		return fmt.Errorf("the folder %s cannot be written to, and the service keeps its log there: %w", dir, err)
	}
	return nil
}

// reachable says which of the addresses to listen on are none of this machine's.
func (s *settings) reachable(ctx context.Context) error {
	var faults source.Faults
	look := func(key, address string) {
		n := s.at[key]
		if n == nil || n.Kind == yaml.ScalarNode && n.Value != address { // by a flag
			return
		}
		if err := here(ctx, address); err != nil {
			faults = append(faults, s.file.NewFault(n, "name an address of this machine, such as 127.0.0.1", "%s: cannot listen on %s: %v", key, address, err))
		}
	}
	if s.NATS == "" {
		look("listen", s.Listen)
	}
	for key, address := range map[string]string{"answers": s.Answers.Listen, "board": s.Board.Listen} {
		if address != "" {
			look(key, address)
		}
	}
	if faults == nil {
		return nil
	}
	return faults.Sorted()
}

// paired says what is wrong with the certificate and its key.
func (s *settings) paired() error {
	if bare := s.Bare(s.ownNATS()); bare != nil { // by a flag
		return cli.Hint(bare, bare.Hint)
	}
	_, err := s.Open(s.ownNATS(), slog.New(slog.DiscardHandler))
	fault, ok := errors.AsType[*certificate.Fault](err)
	if !ok {
		return err
	}
	n := s.at["certificate"]
	if fault.OfKey {
		n = s.at["key"]
	}
	return source.Faults{s.file.NewFault(n, fault.Hint, "%s", fault.Text)}
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
