package main

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/testdata/certs"
)

const tlsHost = "fleet.larkfell.example"

// free is an address of every one of this machine's, with a port that is free.
func free(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "0.0.0.0:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return fmt.Sprintf("0.0.0.0:%d", l.Addr().(*net.TCPAddr).Port)
}

// served is the certificate that a new connection to an address gets by TLS.
func served(t *testing.T, a *certs.Authority, address string) *x509.Certificate {
	t.Helper()
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	c, err := tls.Dial("tcp", "127.0.0.1:"+port, &tls.Config{RootCAs: a.Pool(), ServerName: tlsHost})
	if err != nil {
		t.Fatalf("%s: %v", address, err)
	}
	defer c.Close()
	return c.ConnectionState().PeerCertificates[0]
}

// TestServedByTLS runs a service that is open to the network: the board, the answers and NATS
// have one certificate, renewed for all of them while they run; commands find it by its
// folder, or by its address and the authority; what it says of the certificate is right.
func TestServedByTLS(t *testing.T) {
	a, dir := certs.New(t), t.TempDir()
	ends := time.Now().AddDate(0, 0, 10).Truncate(time.Second)
	a.Pair(t, dir, ends, tlsHost, "127.0.0.1")
	ca := filepath.Join(t.TempDir(), "ca.pem")
	a.Write(t, ca)
	board, answers, metrics := free(t), free(t), strings.Replace(free(t), "0.0.0.0", "127.0.0.1", 1)
	write(t, dir, map[string]string{"rules/oil.yaml": oilBook,
		"people.yaml": "people: {ines: {name: Ines Thornbeck, mail: ines@larkfell.example}}\noperator: ines\nprograms: {}\n",
		"telltale.yaml": fmt.Sprintf("certificate: certificate.pem\nkey: key.pem\nlisten: 0.0.0.0:4222\nmetrics: %s\nboard: {listen: %q, url: %q}\nanswers: {listen: %q, url: %q}\n",
			metrics, board, "https://"+tlsHost, answers, "https://"+tlsHost)})
	s := servingAt(t, dir, "0.0.0.0:-1")
	at := regexp.MustCompile(`at (tls://\S+:(\d+)),`).FindStringSubmatch(s.stderr.String())
	if at == nil || !strings.Contains(s.stderr.String(), "look: https://"+tlsHost+"\n") {
		t.Fatalf("it says\n%s", s.stderr.String())
	}
	url := "tls://127.0.0.1:" + at[2]

	web := &http.Client{Transport: &http.Transport{TLSClientConfig: &tls.Config{RootCAs: a.Pool(), ServerName: tlsHost}}}
	for _, address := range []string{board, answers} {
		_, port, _ := net.SplitHostPort(address)
		ask, err := http.NewRequest("GET", "https://127.0.0.1:"+port+"/none", nil)
		if err != nil {
			t.Fatal(err)
		}
		ask.Host = tlsHost
		r, err := web.Do(ask)
		if err != nil {
			t.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusNotFound || r.Header.Get("Strict-Transport-Security") == "" {
			t.Errorf("%s: %s, %v", address, r.Status, r.Header)
		}
	}

	telltale(t, "alarms", "--dir", dir)
	telltale(t, "alarms", "--nats", url, "--ca", ca, "--key", filepath.Join(dir, "operator.nk"))
	var stderr bytes.Buffer
	if code := run(t.Context(), []string{"alarms", "--nats", url}, strings.NewReader(""), io.Discard, &stderr); code != 1 ||
		!strings.Contains(stderr.String(), "the server's certificate is not trusted") || !strings.Contains(stderr.String(), "--ca FILE") {
		t.Errorf("without the authority: exit code %d\n%s", code, &stderr)
	}
	stderr.Reset()
	if code := run(t.Context(), []string{"alarms", "--nats", "tls://127.0.0.2:" + at[2], "--ca", ca}, strings.NewReader(""), io.Discard, &stderr); code != 1 ||
		!strings.Contains(stderr.String(), "the server's certificate is not for 127.0.0.2") || strings.Contains(stderr.String(), "--ca FILE") {
		t.Errorf("by another address: exit code %d\n%s", code, &stderr)
	}
	if nc, err := nats.Connect(url, nats.RootCAs(ca)); err == nil || !errors.Is(err, nats.ErrAuthorization) {
		t.Errorf("a gateway without a key: %v, %v", nc, err)
	}

	code, text := get(t, "http://"+metrics+"/metrics")
	if want := fmt.Sprintf("telltale_certificate_expiry_timestamp_seconds %s\n", metricOf(ends)); code != 200 || !strings.Contains(text, want) {
		t.Errorf("the metrics lack %s", want)
	}
	if !poll(patience, func() bool { return strings.Contains(mails(t, dir), "The certificate ends in 9 days") }) {
		t.Errorf("the operator is told\n%s", mails(t, dir))
	}

	renewed := a.Pair(t, dir, ends.AddDate(1, 0, 0), tlsHost, "127.0.0.1")
	_, port, _ := net.SplitHostPort(board)
	if !poll(patience, func() bool { return bytes.Equal(served(t, a, board).Raw, renewed.Raw) }) {
		t.Fatalf("port %s does not get the renewed certificate:\n%s", port, s.stderr.String())
	}
	if !bytes.Equal(served(t, a, answers).Raw, renewed.Raw) {
		t.Error("the answers do not get the renewed certificate")
	}
	telltale(t, "alarms", "--dir", dir) // which trusts the one in the folder alone
	if _, text := get(t, "http://"+metrics+"/metrics"); !strings.Contains(text, "telltale_certificate_expiry_timestamp_seconds "+metricOf(ends.AddDate(1, 0, 0))+"\n") {
		t.Error("the metrics have not the end of the renewed one")
	}
	s.end(t)
}

// metricOf is a time as metrics have it.
func metricOf(at time.Time) string {
	return strconv.FormatFloat(float64(at.Unix()), 'g', -1, 64)
}

// mails are the texts of all mails in a folder.
func mails(t *testing.T, dir string) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "mail", "*"))
	if err != nil {
		t.Fatal(err)
	}
	var all strings.Builder
	for _, f := range files {
		text, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		all.Write(text)
	}
	return all.String()
}
