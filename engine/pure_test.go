package engine_test

import (
	"bytes"
	"maps"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// TestPure keeps the core pure: no I/O, no network, no client library may be
// among what it imports itself, however deep in this module.
func TestPure(t *testing.T) {
	core := []string{"telltale/engine", "telltale/engine/meter", "telltale/engine/interval", "telltale/engine/lab", "telltale/engine/trend",
		"telltale/rules", "telltale/rules/unit"}
	banned := []string{"os", "io/fs", "net", "net/http", "os/exec", "log", "log/slog", "math/rand", "math/rand/v2", "syscall",
		"github.com/nats-io/nats.go", "github.com/wneessen/go-mail", "github.com/robfig/cron/v3"}
	for _, pkg := range core {
		out, err := exec.Command("go", "list", "-f", "{{join .Imports \"\\n\"}}", pkg).CombinedOutput()
		if err != nil {
			t.Fatalf("go list %s: %v\n%s", pkg, err, out)
		}
		for imp := range strings.Lines(string(out)) {
			imp = strings.TrimSpace(imp)
			if slices.Contains(banned, imp) {
				t.Errorf("%s imports %s", pkg, imp)
			}
			if strings.HasPrefix(imp, "telltale/") && !slices.Contains(core, imp) {
				t.Errorf("%s imports %s, which is not of the core", pkg, imp)
			}
			if strings.HasPrefix(pkg, "telltale/rules") && strings.HasPrefix(imp, "telltale/engine") {
				t.Errorf("%s imports %s: rules know nothing of the engine", pkg, imp)
			}
		}
	}
}

// fused are the instructions that multiply and add in one, with one rounding where
// another machine has two, and where they stand in our own code.
var fused = regexp.MustCompile(`\(\S*/((?:engine|rules)/\S+\.go:\d+)\)\s+FN?M(?:ADD|SUB)[DS]\s`)

// TestNotFused compiles the core for a machine that has such instructions: the compiler
// must find no place for one, or the same log would give other numbers there. Writing
// float64(a*b) + c keeps the two apart. In CI it is the whole core, elsewhere the
// packages that compute.
func TestNotFused(t *testing.T) {
	packages := []string{"./meter", "./interval", "./lab", "./trend", "../rules/unit"}
	if os.Getenv("TELLTALE_CI") == "1" {
		packages = append(packages, ".", "../rules")
	}
	out := assembly(t, packages...)
	if !bytes.Contains(out, []byte("FMULD")) {
		t.Error("the compiler tells nothing of what it makes")
	}
	at := map[string]bool{}
	for _, m := range fused.FindAllSubmatch(out, -1) {
		at[string(m[1])] = true
	}
	for _, place := range slices.Sorted(maps.Keys(at)) {
		t.Errorf("%s multiplies and adds in one", place)
	}
}

// TestZonesCompiledIn: time zones must not hang on the machine.
func TestZonesCompiledIn(t *testing.T) {
	out, err := exec.Command("go", "list", "-deps", ".").Output()
	if err != nil || !slices.Contains(strings.Fields(string(out)), "time/tzdata") {
		t.Errorf("the time zone database is not among what the core is built of (%v)", err)
	}
}

// TestNoClock keeps the core from asking what time it is.
func TestNoClock(t *testing.T) {
	out, err := exec.Command("grep", "-rnE", `time\.(Now|Since|Until|Sleep|After|Tick|NewTimer|NewTicker)\(`, "--include=*.go", "--exclude=*_test.go",
		".", "meter", "interval", "lab", "trend", "../rules", "--exclude-dir=stream", "--exclude-dir=intake").Output()
	if len(out) > 0 {
		t.Errorf("the core asks a clock:\n%s", out)
	}
	if e, ok := err.(*exec.ExitError); err != nil && (!ok || e.ExitCode() != 1) {
		t.Fatal(err)
	}
}
