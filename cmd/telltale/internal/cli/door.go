package cli

import (
	"bytes"
	"cmp"
	"context"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/stream/server"
)

// Door is how a service is reached over NATS.
type Door struct {
	// URL is the address of the server; "" where none is known.
	URL string
	// Key is the file with the key to sign in by; "" for none.
	Key string
	// CA is the file with the authorities to trust in place of the system's; "" for these.
	CA string
	// Certificate is the file with the server's own certificate, which then is trusted under
	// any name; "" where it is not at hand.
	Certificate string
}

// Door is how the service of a folder is reached: where it runs its own server, at the
// address in the folder and by the key in the folder, else as its settings say.
func (e Env) Door(dir string) (Door, error) {
	text, err := os.ReadFile(filepath.Join(dir, "nats.url"))
	if err != nil {
		return e.Settings(dir)
	}
	d := Door{URL: strings.TrimSpace(string(text)), Key: ownKey(dir)}
	if strings.HasPrefix(d.URL, "tls:") {
		set, err := e.Settings(dir)
		if err != nil {
			return d, err
		}
		d.Certificate = set.Certificate
	}
	return d, nil
}

// ownKey is the key in a folder, if this user may read it: without `programs` in people.yaml
// one gets in without.
func ownKey(dir string) string {
	path := server.OperatorKey(dir)
	f, err := os.Open(path)
	if err != nil {
		return ""
	}
	f.Close()
	return path
}

// Open makes a connection for a command of that name.
func (d Door) Open(name string, within time.Duration, more ...nats.Option) (*nats.Conn, error) {
	in, err := d.in()
	if err != nil {
		return nil, err
	}
	nc, err := nats.Connect(d.URL, slices.Concat(in, []nats.Option{nats.Name(name), nats.Timeout(within)}, more)...)
	if errors.Is(err, nats.ErrAuthorization) {
		return nil, d.notLetIn()
	}
	if bad, ok := errors.AsType[x509.HostnameError](err); ok {
		return nil, Hint(fmt.Errorf("connecting to %s: the server's certificate is not for %s: %w", d.URL, bad.Host, err),
			"connect by a name or an address that the certificate has, or get one for this name, too")
	}
	if _, ok := errors.AsType[*tls.CertificateVerificationError](err); ok {
		return nil, Hint(fmt.Errorf("connecting to %s: the server's certificate is not trusted: %w", d.URL, err),
			"if an authority of your own signed it, name that one's certificate with --ca FILE, or with ca: in telltale.yaml")
	}
	if err != nil {
		return nil, NoneRuns(fmt.Errorf("connecting to %s: %w", d.URL, err))
	}
	return nc, nil
}

// Join makes the connection of a service, which waits for the server.
func (d Door) Join(ctx context.Context, log *slog.Logger) (*nats.Conn, error) {
	in, err := d.in()
	if err != nil {
		return nil, err
	}
	return server.Join(ctx, d.URL, log, in...)
}

// in is how to sign in, and whom to trust.
func (d Door) in() (opts []nats.Option, err error) {
	if d.Key != "" {
		in, err := server.SignIn(d.Key)
		if err != nil {
			return nil, Exit(2, err)
		}
		opts = append(opts, in)
	}
	switch {
	case d.CA != "":
		if text, err := os.ReadFile(d.CA); err != nil || !x509.NewCertPool().AppendCertsFromPEM(text) {
			return nil, Exit(2, Hint(fmt.Errorf("reading the authority's certificate: there is none in %s", d.CA), "write it in PEM: -----BEGIN CERTIFICATE-----"))
		}
		opts = append(opts, nats.RootCAs(d.CA))
	case d.Certificate != "":
		own, err := only(d.Certificate)
		if err != nil {
			return nil, err
		}
		opts = append(opts, nats.Secure(own))
	}
	return opts, nil
}

// notLetIn says which key was refused, and what to do.
func (d Door) notLetIn() error {
	if d.Key == "" {
		return Hint(fmt.Errorf("connecting to %s: the service lets nobody in without a key", d.URL),
			"name its folder with --dir, or a key that its people.yaml has under programs with --key; telltale programs add makes one")
	}
	public := "?"
	if key, err := server.ReadKey(d.Key); err == nil {
		public, _ = key.PublicKey() // of a key that was read
	}
	return Hint(fmt.Errorf("connecting to %s: the service does not know the key in %s, %s", d.URL, d.Key, public),
		"it belongs into people.yaml of the service, as under programs: "+cmp.Or(strings.TrimSuffix(filepath.Base(d.Key), filepath.Ext(d.Key)), "name")+": {key: "+public+", operator: yes}")
}

// only trusts the one certificate in a file, whatever name the server is reached by: the
// folder that holds it is the service's own.
func only(file string) (*tls.Config, error) {
	text, err := os.ReadFile(file)
	if err != nil {
		return nil, fmt.Errorf("reading the service's certificate: %w", err)
	}
	block, _ := pem.Decode(text)
	if block == nil {
		return nil, fmt.Errorf("reading the service's certificate: there is none in %s", file)
	}
	return &tls.Config{
		MinVersion:         tls.VersionTLS12,
		InsecureSkipVerify: true, // in place of which stands:
		VerifyPeerCertificate: func(raw [][]byte, _ [][]*x509.Certificate) error {
			if len(raw) == 0 || !bytes.Equal(raw[0], block.Bytes) {
				return fmt.Errorf("the server's certificate is not the one in %s", file)
			}
			return nil
		},
	}, nil
}
