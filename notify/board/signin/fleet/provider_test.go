package fleet

import (
	"bufio"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// providerPackage is an OpenID provider of its own making, not the library's that is tried
// here; certified by the OpenID Foundation (MIT). npm fetches it as the tests run. The
// eighth version runs on the Node of Debian's stable release.
const providerPackage = "oidc-provider@8.8.1"

// without skips a test for want of something; in CI it fails.
func without(t *testing.T, what string) {
	t.Helper()
	if os.Getenv("TELLTALE_CI") != "" {
		t.Fatalf("there is no %s", what)
	}
	t.Skipf("there is no %s here", what)
}

var installed struct {
	once sync.Once
	dir  string
	err  error
}

// provider is a running provider.
type provider struct {
	t      *testing.T
	issuer string
}

// startProvider runs testdata/provider.mjs until the test ends.
func startProvider(t *testing.T, redirect string) *provider {
	t.Helper()
	for _, tool := range []string{"npm", "node"} {
		if _, err := exec.LookPath(tool); err != nil {
			without(t, tool+", on which an OpenID provider runs,")
		}
	}
	installed.once.Do(func() { installed.dir, installed.err = install() })
	if installed.err != nil {
		without(t, providerPackage+" ("+installed.err.Error()+")")
	}
	port := freePort(t)
	cmd := exec.CommandContext(t.Context(), "node", filepath.Join(installed.dir, "provider.mjs"), port, redirect)
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said strings.Builder
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { cmd.Process.Kill(); cmd.Wait() })
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "ready\n" {
		t.Fatalf("the provider says %q (%v): %s", line, err, said.String())
	}
	go io.Copy(io.Discard, out)
	return &provider{t, "http://127.0.0.1:" + port}
}

func install() (dir string, err error) {
	if dir, err = os.MkdirTemp("", "telltale-oidc-"); err != nil {
		return "", err
	}
	script, err := os.ReadFile("testdata/provider.mjs")
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "provider.mjs"), script, 0o600)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "package.json"), []byte(`{"private": true}`), 0o600)
	}
	if err != nil {
		return dir, err
	}
	cmd := exec.Command("npm", "install", "--no-audit", "--no-fund", "--ignore-scripts", "--silent", providerPackage)
	cmd.Dir = dir
	out, err := cmd.CombinedOutput()
	if err != nil {
		err = &exec.Error{Name: strings.TrimSpace(string(out)), Err: err}
	}
	return dir, err
}

func freePort(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	_, port, _ := net.SplitHostPort(l.Addr().String())
	return port
}

// signs has the provider sign in whoever comes next so: sub, acr, amr, or error.
func (p *provider) signs(how url.Values) {
	p.t.Helper()
	r, err := http.NewRequestWithContext(p.t.Context(), http.MethodPut, p.issuer+"/as?"+how.Encode(), nil)
	if err != nil {
		p.t.Fatal(err)
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		p.t.Fatal(err)
	}
	a.Body.Close()
}
