package stream

import (
	"flag"
	"os"
	"testing"

	"telltale/testdata/memory"
)

var underCI = os.Getenv("TELLTALE_CI") == "1"

// TestMain keeps in memory what the servers of the tests store, and has more tests run
// at a time than there are cores, since they wait for most of their time; not so in CI.
func TestMain(m *testing.M) {
	memory.Use()
	if !underCI {
		if err := flag.Set("test.parallel", "6"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// beside has a test run beside others. In CI, where the race detector makes all of it
// slow, it runs alone, so that what must come within some seconds does.
func beside(t *testing.T) {
	t.Helper()
	if !underCI {
		t.Parallel()
	}
}
