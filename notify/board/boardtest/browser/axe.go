package browser

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/chromedp"
)

// axePackage is axe-core, which knows WCAG's rules as far as a program can check them
// (MPL-2.0). npm fetches it as the tests run; it is no part of this repository.
const axePackage = "axe-core@4.14.1"

var axe struct {
	once   sync.Once
	script string
	err    error
}

// axeScript is its program.
func axeScript(t testing.TB) string {
	t.Helper()
	if _, err := exec.LookPath("npm"); err != nil {
		without(t, "npm, which fetches axe-core,")
	}
	axe.once.Do(func() { axe.script, axe.err = packed() })
	if axe.err != nil {
		without(t, "axe-core ("+axe.err.Error()+")")
	}
	return axe.script
}

// packed fetches the package and takes the program out of it.
func packed() (string, error) {
	dir, err := os.MkdirTemp("", "telltale-axe-")
	if err != nil {
		return "", err
	}
	defer os.RemoveAll(dir)
	cmd := exec.Command("npm", "pack", "--silent", axePackage)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("npm pack %s: %w: %s", axePackage, err, out)
	}
	names, err := filepath.Glob(filepath.Join(dir, "*.tgz"))
	if err != nil || len(names) != 1 {
		return "", fmt.Errorf("npm pack %s made %v", axePackage, names)
	}
	text, err := os.ReadFile(names[0])
	if err != nil {
		return "", err
	}
	z, err := gzip.NewReader(bytes.NewReader(text))
	if err != nil {
		return "", err
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if err != nil {
			return "", fmt.Errorf("%s has no axe.min.js: %w", axePackage, err)
		}
		if h.Name == "package/axe.min.js" {
			script, err := io.ReadAll(r)
			return string(script), err
		}
	}
}

// Findings are what axe-core finds on the page, by all its rules or by those named: each with
// its rule and the places.
func (b *Tab) Findings(rules ...string) []string {
	b.t.Helper()
	script := axeScript(b.t)
	if !eval[bool](b, "typeof axe === 'object'") {
		if _, err := chromedp.Run(b.ctx, chromedp.Evaluate[chromedp.Void](script+"; undefined")); err != nil && !strings.Contains(err.Error(), "undefined") {
			b.t.Fatal(err)
		}
	}
	by := ""
	if rules != nil {
		names, err := json.Marshal(rules)
		b.must(err)
		by = ", runOnly: " + string(names)
	}
	found, err := chromedp.Run(b.ctx, chromedp.Evaluate[[]string](`axe.run(document, {resultTypes: ['violations']`+by+`}).then((r) =>
		r.violations.map((v) => v.id + ': ' + v.help + ': ' + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 200) + ' ' + (n.any[0] ? n.any[0].message : '')).join(' | ')))`, chromedp.EvalAwaitPromise))
	b.must(err)
	return found
}
