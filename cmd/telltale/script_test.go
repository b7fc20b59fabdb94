package main

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"telltale/testdata/quick"
)

// TestMain lets the tests run this test program as telltale, and as a NATS server
// that can be killed. What they store is in memory, and more tests run at a time than
// there are cores, since they wait for most of their time; not so in CI.
func TestMain(m *testing.M) {
	quick.Start()
	if !underCI() {
		if err := flag.Set("test.parallel", "4"); err != nil {
			panic(err)
		}
	}
	testscript.Main(suite{m}, map[string]func(){"telltale": main, "fleet-nats": natsMain})
}

// suiteDir is a folder of all tests; it goes with the last.
var suiteDir string

type suite struct{ *testing.M }

// Run runs the tests.
func (s suite) Run() (code int) {
	var err error
	if suiteDir, err = os.MkdirTemp("", "telltale"); err != nil {
		panic(err)
	}
	defer os.RemoveAll(suiteDir)
	return s.M.Run()
}

// TestScript runs the sessions in testdata/script. Beside testscript's own commands
// they have those below; none of them sleeps for a fixed time.
func TestScript(t *testing.T) {
	testscript.Run(t, testscript.Params{
		Dir: "testdata/script",
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"exits": cmdExits, "until": cmdUntil, "says": cmdSays, "ends": cmdEnds, "getenv": cmdGetenv,
			"readme": cmdReadme, "step": cmdStep, "walked": cmdWalked, "only": cmdOnly, "demoed": cmdDemoed,
		},
		Condition: func(cond string) (bool, error) {
			if cond != "ci" {
				return false, errors.New("unknown condition " + cond)
			}
			return underCI(), nil
		},
		Setup: func(e *testscript.Env) error {
			samples, err := filepath.Abs("../../samples")
			e.Setenv("SAMPLES", samples)
			e.Setenv("GOGC", os.Getenv("GOGC"))
			e.Values["walk"] = &walk{}
			e.Setenv("XDG_CONFIG_HOME", e.WorkDir) // the stock client keeps its settings there
			return err
		},
		RequireExplicitExec: true,
		RequireUniqueNames:  true,
	})
}

// underCI reports whether what is missing on this machine is a fault.
func underCI() bool { return os.Getenv("TELLTALE_CI") == "1" }

// patience is how long anything that a test waits for may take on a busy machine.
const patience = time.Minute

// poll asks again and again until done says so; it reports whether that came in time.
func poll(limit time.Duration, done func() bool) bool {
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for end := time.Now().Add(limit); ; <-tick.C {
		if done() {
			return true
		}
		if time.Now().After(end) {
			return false
		}
	}
}

// exits CODE PROGRAM [ARGS…] runs a program that must end with the code.
func cmdExits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE PROGRAM [ARGS…]")
	}
	want, err := strconv.Atoi(args[0])
	ts.Check(err)
	got := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		e := (*exec.ExitError)(nil)
		if !errors.As(err, &e) {
			ts.Fatalf("running %s: %v", args[1], err)
		}
		got = e.ExitCode()
	}
	if got != want {
		ts.Fatalf("exit code %d, want %d", got, want)
	}
}

// until PATTERN PROGRAM [ARGS…] runs a program again and again until it succeeds
// and its standard output, by lines, matches.
func cmdUntil(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: until PATTERN PROGRAM [ARGS…]")
	}
	pattern := lines(ts, args[0])
	var stdout, stderr strings.Builder
	came := poll(patience, func() bool {
		stdout.Reset()
		stderr.Reset()
		// Not by ts.Exec, which logs each try.
		cmd := exec.Command(args[1], args[2:]...)
		cmd.Dir, cmd.Env, cmd.Stdout, cmd.Stderr = ts.MkAbs("."), []string{"PATH=" + ts.Getenv("PATH")}, &stdout, &stderr
		return cmd.Run() == nil && pattern.MatchString(stdout.String())
	})
	fmt.Fprint(ts.Stdout(), stdout.String())
	fmt.Fprint(ts.Stderr(), stderr.String())
	if !came {
		ts.Fatalf("no output like %s came; the last was\n%s%s", args[0], &stdout, &stderr)
	}
}

// says PATTERN FILE waits until a file holds a line that matches; FILE may be a
// pattern of names.
func cmdSays(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: says PATTERN FILE")
	}
	pattern := lines(ts, args[0])
	var text string
	if !poll(patience, func() bool {
		text = ""
		names, err := filepath.Glob(ts.MkAbs(args[1]))
		ts.Check(err)
		for _, name := range names {
			b, _ := os.ReadFile(name) // a file that is not there yet says nothing yet
			text += string(b)
		}
		return pattern.MatchString(text)
	}) {
		ts.Fatalf("%s does not say %s; it says\n%s", args[1], args[0], text)
	}
}

// ends interrupts all background programs, which must be gone within 5 s.
func cmdEnds(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 0 {
		ts.Fatalf("usage: ends")
	}
	for _, c := range ts.BackgroundCmds() {
		if err := c.Process.Signal(os.Interrupt); err != nil && !errors.Is(err, os.ErrProcessDone) {
			ts.Fatalf("interrupting %s: %v", c.Args, err)
		}
	}
	for _, c := range ts.BackgroundCmds() {
		if !poll(5*time.Second, func() bool { return errors.Is(c.Process.Signal(syscall.Signal(0)), os.ErrProcessDone) }) {
			ts.Fatalf("%s still runs 5 s after the interrupt", c.Args)
		}
	}
}

// only VEHICLE… writes what the sample year and its register have of these vehicles
// into events.jsonl and vehicles.yaml; in CI it is all that they have.
func cmdOnly(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: only VEHICLE…")
	}
	name, subject := regexp.MustCompile(`^  (\S+):$`), regexp.MustCompile(`"subject":"([^"]+)"`)
	for _, file := range []struct {
		name string
		of   *regexp.Regexp
	}{{"vehicles.yaml", name}, {"events.jsonl", subject}} {
		var kept strings.Builder
		ours := true
		for line := range strings.Lines(ts.ReadFile(filepath.Join(ts.Getenv("SAMPLES"), file.name))) {
			if m := file.of.FindStringSubmatch(strings.TrimSuffix(line, "\n")); m != nil {
				ours = slices.Contains(args, m[1])
			}
			if ours || underCI() {
				kept.WriteString(line)
			}
		}
		ts.Check(os.WriteFile(ts.MkAbs(file.name), []byte(kept.String()), 0o644))
	}
}

// demoed DIR copies the folder that the demo leaves.
func cmdDemoed(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: demoed DIR")
	}
	d := demoOnce()
	if d.code != 0 {
		ts.Fatalf("the demo's exit code is %d\n%s", d.code, &d.stderr)
	}
	ts.Check(os.CopyFS(ts.MkAbs(args[0]), os.DirFS(d.dir)))
}

// getenv NAME FILE puts a file's only line into a variable.
func cmdGetenv(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: getenv NAME FILE")
	}
	ts.Setenv(args[0], strings.TrimSpace(ts.ReadFile(args[1])))
}

func lines(ts *testscript.TestScript, pattern string) *regexp.Regexp {
	re, err := regexp.Compile("(?m)" + pattern)
	ts.Check(err)
	return re
}
