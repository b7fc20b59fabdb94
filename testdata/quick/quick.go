// Package quick has a newcomer's tests take no longer than they need. With
// TELLTALE_CI=1 nothing is cut short: there the race detector makes all of it slow, and
// what must come within some seconds does.
package quick

import (
	"flag"
	"os"
	"runtime/debug"
	"strconv"
	"testing"
)

// CI reports whether the tests run in full.
func CI() bool { return os.Getenv("TELLTALE_CI") == "1" }

// Start has all temporary folders made in memory from now on, where there is room for
// them, and garbage collected less often; programs that are started do the same. What
// TMPDIR or GOGC says stays.
func Start() {
	if CI() {
		return
	}
	if dir := inMemory(); dir != "" && os.Getenv("TMPDIR") == "" {
		_ = os.Setenv("TMPDIR", dir)
	}
	if os.Getenv("GOGC") == "" {
		const percent = 400
		debug.SetGCPercent(percent)
		_ = os.Setenv("GOGC", strconv.Itoa(percent))
	}
}

// Main runs a package's tests with their files in memory, and more of them at a time
// than there are cores, since they wait for most of their time. Benchmarks stay on the
// disk, which is what they measure.
func Main(m *testing.M) {
	flag.Parse()
	if flag.Lookup("test.bench").Value.String() == "" {
		Start()
	}
	if !CI() {
		if err := flag.Set("test.parallel", "6"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// Beside has a test run beside others; in CI it runs alone.
func Beside(t *testing.T) {
	t.Helper()
	if !CI() {
		t.Parallel()
	}
}
