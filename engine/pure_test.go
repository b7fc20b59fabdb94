package engine_test

import (
	"bytes"
	"fmt"
	"maps"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"telltale/testdata/quick"
)

// core are the packages that do no I/O and know no clock.
var core = []string{
	"telltale/engine", "telltale/engine/event", "telltale/engine/fleet", "telltale/engine/alarm", "telltale/engine/latch",
	"telltale/engine/record", "telltale/engine/wear", "telltale/engine/work", "telltale/engine/usual", "telltale/engine/judge", "telltale/engine/dueword", "telltale/engine/moment", "telltale/engine/recall", "telltale/engine/defect", "telltale/engine/bottle", "telltale/engine/outlook", "telltale/engine/due", "telltale/engine/why", "telltale/engine/sample", "telltale/engine/whole", "telltale/engine/listing", "telltale/engine/intern", "telltale/engine/stood", "telltale/engine/follows", "telltale/engine/intake/typed",
	"telltale/engine/fit", "telltale/engine/gauge", "telltale/engine/history", "telltale/engine/doubt", "telltale/engine/meter", "telltale/engine/interval", "telltale/engine/lab", "telltale/engine/origin", "telltale/engine/trend", "telltale/engine/reach", "telltale/engine/grouped", "telltale/engine/stranger",
	"telltale/rules", "telltale/rules/expression", "telltale/rules/expression/quantity", "telltale/rules/expression/bounds", "telltale/rules/expression/slip", "telltale/rules/expression/witness", "telltale/rules/source", "telltale/rules/figure", "telltale/rules/dataalarm", "telltale/rules/applies", "telltale/rules/word", "telltale/rules/told",
	"telltale/rules/unit", "telltale/rules/analytes", "telltale/rules/english", "telltale/rules/zone",
}

// rooms are the packages that engine is made of, each above those that it may use.
var rooms = []string{"event", "fleet", "alarm", "latch", "record", "wear", "work", "usual", "judge", "dueword", "moment", "recall", "outlook", "due", "why", "sample", "doubt", "history", "gauge", "listing", "whole", "stood", "reach", "grouped", "stranger"}

// TestPure keeps the core pure: no I/O, no network, no client library may be
// among what it imports itself, however deep in this module.
func TestPure(t *testing.T) {
	banned := []string{"os", "io/fs", "net", "net/http", "os/exec", "log", "log/slog", "math/rand", "math/rand/v2", "syscall",
		"github.com/nats-io/nats.go", "github.com/wneessen/go-mail", "github.com/robfig/cron/v3"}
	for pkg, imports := range coreImports(t) {
		for _, imp := range imports {
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

// TestExplainingCannotFold: what explains something to people must not be able to fold
// an event, nor to know of anything in a room above its own.
func TestExplainingCannotFold(t *testing.T) {
	below := map[string][]string{
		"event": {}, "fleet": {"event"}, "alarm": {"event"}, "latch": {"event", "alarm"},
		"record": {"event", "fleet", "alarm", "latch"},
		"wear":   {"event", "fleet", "alarm", "latch", "record"},
		"work":   {"event", "fleet", "alarm", "latch", "record"},
		"usual":  {"event", "fleet", "alarm", "latch", "record"},
		"judge":  {"event", "fleet", "alarm", "latch", "record", "wear", "work", "usual"},
	}
	views := append(below["judge"], "judge")
	below["dueword"], below["moment"], below["recall"], below["outlook"], below["doubt"], below["stood"], below["reach"], below["grouped"], below["stranger"] = views, views, views, views, views, views, views, views, views
	below["due"] = append(slices.Clip(views), "dueword")
	below["gauge"] = below["due"]
	below["history"] = append(slices.Clip(views), "doubt", "stood")
	below["sample"] = append(slices.Clip(views), "outlook", "recall", "stood")
	below["why"] = append(slices.Clip(below["due"]), "due", "recall")
	below["listing"] = append(slices.Clip(below["due"]), "due")
	below["whole"] = append(slices.Clip(below["due"]), "due", "gauge", "stood", "doubt", "moment", "sample", "outlook", "recall")
	for _, room := range rooms {
		for dep := range reached(t, "telltale/engine/"+room) {
			name := strings.TrimPrefix(dep, "telltale/engine/")
			if dep == "telltale/engine" || slices.Contains(rooms, name) && name != room && !slices.Contains(below[room], name) {
				t.Errorf("%s reaches %s", room, dep)
			}
		}
	}
}

// reached is all of the core that the package stands on, and itself.
func reached(t *testing.T, pkg string) map[string]bool {
	t.Helper()
	all := map[string]bool{}
	for next := []string{pkg}; len(next) > 0; next = next[1:] {
		if !all[next[0]] {
			all[next[0]] = true
			next = append(next, coreImports(t)[next[0]]...)
		}
	}
	return all
}

// coreImports is what each package of the core imports.
func coreImports(t *testing.T) map[string][]string {
	t.Helper()
	all, err := listCore()
	if err != nil {
		t.Fatal(err)
	}
	return all
}

var listCore = sync.OnceValues(func() (map[string][]string, error) {
	out, err := exec.Command("go", append([]string{"list", "-f", `{{.ImportPath}} {{join .Imports " "}}`}, core...)...).CombinedOutput()
	if err != nil {
		return nil, fmt.Errorf("go list: %w\n%s", err, out)
	}
	all := map[string][]string{}
	for line := range strings.Lines(string(out)) {
		if f := strings.Fields(line); len(f) > 0 {
			all[f[0]] = f[1:]
		}
	}
	return all, nil
})

// fused are the instructions that multiply and add in one, with one rounding where
// another machine has two, and where they stand in our own code.
var fused = regexp.MustCompile(`\(\S*/((?:engine|rules)/\S+\.go:\d+)\)\s+FN?M(?:ADD|SUB)[DS]\s`)

// TestNotFused compiles the core for a machine that has such instructions: the compiler
// must find no place for one, or the same log would give other numbers there. Writing
// float64(a*b) + c keeps the two apart. It compiles all that the core stands on, which is
// for CI.
func TestNotFused(t *testing.T) {
	if !quick.CI() {
		t.Skip("compiles for another machine: with TELLTALE_CI=1")
	}
	cmd := exec.Command("go", append([]string{"build", "-gcflags=-S"}, core...)...)
	cmd.Env = append(cmd.Environ(), "GOARCH=arm64", "CGO_ENABLED=0")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("go build: %v\n%s", err, out[max(0, len(out)-2000):])
	}
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
	if !reached(t, "telltale/engine")["time/tzdata"] {
		t.Error("the time zone database is not among what the core is built of")
	}
}

// TestNoClock keeps the core from asking what time it is.
func TestNoClock(t *testing.T) {
	args := []string{"-nE", `time\.(Now|Since|Until|Sleep|After|Tick|NewTimer|NewTicker)\(`}
	for _, pkg := range core {
		files, err := filepath.Glob(filepath.Join("..", strings.TrimPrefix(pkg, "telltale/"), "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatalf("no files of %s (%v)", pkg, err)
		}
		args = append(args, slices.DeleteFunc(files, func(f string) bool { return strings.HasSuffix(f, "_test.go") })...)
	}
	out, err := exec.Command("grep", args...).Output()
	if len(out) > 0 {
		t.Errorf("the core asks a clock:\n%s", out)
	}
	if e, ok := err.(*exec.ExitError); err != nil && (!ok || e.ExitCode() != 1) {
		t.Fatal(err)
	}
}
