package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

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
	return errors.Join(f.people.Check(f.secretFile, f.writable, f.tokenFile), f.set.Before(ctx, f.set.file, f.set.at, f.set.ownNATS()), f.closed(), own(f.dir))
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
