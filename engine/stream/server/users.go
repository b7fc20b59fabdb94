package server

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nkeys"

	"telltale/engine/stream/server/accounts"
)

// OperatorKey is the file in a service's folder by which whoever can read the folder signs
// in at its NATS server.
func OperatorKey(dir string) string { return filepath.Join(dir, "operator.nk") }

// makeUsers makes the keys of the service and of those who come without one, which live as
// long as the process, and takes the operator's from the folder.
func (s *Server) makeUsers() (service nkeys.KeyPair, err error) {
	if service, s.users.Service, err = newUser(); err != nil {
		return nil, err
	}
	if _, s.anyone, err = newUser(); err != nil {
		return nil, err
	}
	s.users.Operator, err = PublicKey(OperatorKey(s.config.Dir))
	return service, err
}

func newUser() (key nkeys.KeyPair, name string, err error) {
	if key, err = nkeys.CreateUser(); err == nil {
		name, err = key.PublicKey()
	}
	if err != nil {
		return nil, "", fmt.Errorf("making a key for the embedded server: %w", err)
	}
	return key, name, nil
}

// PublicKey is the public half of the key in a file, which is made where there is none.
func PublicKey(path string) (string, error) {
	if _, err := os.Stat(path); errors.Is(err, fs.ErrNotExist) {
		key, name, err := newUser()
		if err != nil {
			return "", err
		}
		seed, err := key.Seed()
		if err == nil {
			err = writeOwn(path, string(seed)+"\n")
		}
		if err != nil {
			return "", fmt.Errorf("making the key in %s: %w", path, err)
		}
		return name, nil
	}
	key, err := ReadKey(path)
	if err != nil {
		return "", err
	}
	defer key.Wipe()
	return key.PublicKey()
}

// ReadKey reads the seed of a user's key from a file. No error of it tells what stands there.
func ReadKey(path string) (nkeys.KeyPair, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, fmt.Errorf("reading the key: %w", err)
	}
	seed := strings.TrimSpace(string(text))
	key, err := nkeys.FromSeed([]byte(seed))
	if err != nil || !strings.HasPrefix(seed, "SU") {
		return nil, fmt.Errorf("reading the key: %s holds no seed of a user's key (one line, SU and capital letters and digits)", path)
	}
	return key, nil
}

// SignIn has a client sign in by the key in a file.
func SignIn(path string) (nats.Option, error) {
	key, err := ReadKey(path)
	if err != nil {
		return nil, err
	}
	name, err := key.PublicKey()
	if err != nil {
		return nil, fmt.Errorf("reading the key: %w", err)
	}
	return nats.Nkey(name, key.Sign), nil
}

// writeOwn puts a file in its place whole, to be read by the owner alone.
func writeOwn(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*") // 0600
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone after the rename
	if _, err = f.WriteString(text); err == nil {
		err = f.Sync()
	}
	if err = errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), path)
}

// accountsText is the text with these programs.
func (s *Server) accountsText(programs []accounts.Program, closed bool) string {
	u := s.users
	if u.Shut = closed; !s.config.Closed {
		u.Anyone = s.anyone
	}
	return accounts.Text(u, programs)
}

// ErrNeedsStart says that clients without a key are let in again only after the service was
// started again: a server tells each client at once whether it needs a key, and cannot
// change that while it runs.
var ErrNeedsStart = errors.New("the service lets clients in without a key only after it was started again")

// SetPrograms puts other programs in force, and with closed lets nobody in without a key.
// Who is no longer among them is cut off; all others stay connected, and what they may no
// longer do is refused from then on. With ErrNeedsStart the rest is in force.
func (s *Server) SetPrograms(programs []accounts.Program, closed bool) error {
	s.rights.Lock()
	defer s.rights.Unlock()
	var open error
	if s.config.Closed && !closed {
		open = ErrNeedsStart
	}
	text := s.accountsText(programs, closed)
	if text == s.text {
		return open
	}
	o, err := s.options(text)
	if err != nil {
		return err
	}
	if err := s.ns.ReloadOptions(o); err != nil {
		return fmt.Errorf("changing who may do what on the NATS server: %w", err)
	}
	s.text = text
	return open
}
