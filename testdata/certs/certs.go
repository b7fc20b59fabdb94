// Package certs makes certificates for tests: an authority of their own, and pairs that it
// signs.
package certs

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"
)

// Authority signs pairs.
type Authority struct {
	Cert *x509.Certificate
	key  *ecdsa.PrivateKey
}

// New makes an authority.
func New(t testing.TB) *Authority {
	t.Helper()
	a := &Authority{key: newKey(t)}
	a.Cert = a.sign(t, &x509.Certificate{Subject: pkix.Name{CommonName: "Larkfell test authority"}, IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageCertSign, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().AddDate(1, 0, 0)}, a.key)
	return a
}

// Pool trusts the authority alone.
func (a *Authority) Pool() *x509.CertPool {
	p := x509.NewCertPool()
	p.AddCert(a.Cert)
	return p
}

// Write writes the authority's own certificate, for who is to trust it.
func (a *Authority) Write(t testing.TB, path string) {
	t.Helper()
	write(t, path, "CERTIFICATE", a.Cert.Raw)
}

// Pair writes certificate.pem and key.pem into a folder, for names and addresses, until a
// time.
func (a *Authority) Pair(t testing.TB, dir string, until time.Time, hosts ...string) *x509.Certificate {
	t.Helper()
	ask := &x509.Certificate{KeyUsage: x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth},
		NotBefore: time.Now().Add(-48 * time.Hour), NotAfter: until}
	for _, h := range hosts {
		if ip := net.ParseIP(h); ip != nil {
			ask.IPAddresses = append(ask.IPAddresses, ip)
		} else {
			ask.DNSNames = append(ask.DNSNames, h)
		}
	}
	key := newKey(t)
	cert := a.sign(t, ask, key)
	raw, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "key.pem"), "PRIVATE KEY", raw)
	write(t, filepath.Join(dir, "certificate.pem"), "CERTIFICATE", cert.Raw)
	return cert
}

func newKey(t testing.TB) *ecdsa.PrivateKey {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// sign signs what is asked for; without a certificate of its own yet, by itself.
func (a *Authority) sign(t testing.TB, ask *x509.Certificate, key *ecdsa.PrivateKey) *x509.Certificate {
	t.Helper()
	ask.SerialNumber = new(big.Int).SetInt64(time.Now().UnixNano())
	by := a.Cert
	if by == nil {
		by = ask
	}
	raw, err := x509.CreateCertificate(rand.Reader, ask, by, key.Public(), a.key)
	if err != nil {
		t.Fatal(err)
	}
	cert, err := x509.ParseCertificate(raw)
	if err != nil {
		t.Fatal(err)
	}
	return cert
}

// write puts a file in the place of another at once, as programs that renew do.
func write(t testing.TB, path, kind string, raw []byte) {
	t.Helper()
	text := pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: raw})
	if err := os.WriteFile(path+".new", text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Rename(path+".new", path); err != nil {
		t.Fatal(err)
	}
}
