package cli

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"errors"
	"log/slog"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/server"
)

// certified is a certificate under a name that is not this machine's, and its file.
func certified(t *testing.T) (tls.Certificate, string) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), DNSNames: []string{"fleet.example.org"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour)}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "fleet.pem")
	if err := os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}, file
}

// TestDoorTLS reaches a service with TLS by its folder, under whatever name: by the key and
// the certificate in the folder, and no other certificate will do. Nothing goes without TLS.
func TestDoorTLS(t *testing.T) {
	cert, file := certified(t)
	_, other := certified(t)
	dir := t.TempDir()
	srv, err := server.Embed(t.Context(), server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: slog.New(slog.DiscardHandler), Closed: true,
		TLS: &tls.Config{MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{cert}}})
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	settings := file
	e := Env{Settings: func(string) (Door, error) { return Door{Certificate: settings}, nil }}
	d, err := e.Door(dir)
	if err != nil || !strings.HasPrefix(d.URL, "tls://127.0.0.1:") || d.Key != server.OperatorKey(dir) || d.Certificate != file {
		t.Fatalf("the folder is reached by %+v, %v", d, err)
	}
	nc, err := d.Open("test", 5*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := nc.TLSConnectionState(); err != nil {
		t.Error("the connection has no TLS")
	}
	nc.Close()
	settings = other
	if d, err = e.Door(dir); err != nil {
		t.Fatal(err)
	}
	if nc, err := d.Open("test", 5*time.Second); err == nil || !strings.Contains(err.Error(), "the server's certificate is not the one in "+other) {
		t.Errorf("another certificate is taken: %v, %v", nc, err)
	}
	d.Certificate = "" // the system's authorities know nothing of it
	if nc, err := d.Open("test", 5*time.Second); err == nil {
		nc.Close()
		t.Error("a certificate that nobody vouches for is taken")
	}
	d = Door{URL: strings.Replace(d.URL, "tls:", "nats:", 1), Certificate: file}
	if _, err := d.Open("test", 5*time.Second); err == nil || !errors.As(err, new(HintError)) {
		t.Errorf("without a key: %v", err)
	}
}

// TestDoorKey reads keys without telling what stands in a file.
func TestDoorKey(t *testing.T) {
	file := filepath.Join(t.TempDir(), "gw.nk")
	const secret = "SUAIBDPBAUTWCWBKIO6XHQNINK5FWJW4OHLXC3HQ2KFE4PEJUA44CNHTCX" // a letter is wrong
	if err := os.WriteFile(file, []byte(secret), 0o600); err != nil {
		t.Fatal(err)
	}
	_, err := Door{URL: "nats://127.0.0.1:1", Key: file}.Open("test", time.Second)
	want := "reading the key: " + file + " holds no seed of a user's key (one line, SU and capital letters and digits)"
	if err == nil || err.Error() != want || strings.Contains(err.Error(), secret) {
		t.Errorf("got %v, want %s", err, want)
	}
}
