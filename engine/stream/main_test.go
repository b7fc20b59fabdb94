package stream

import (
	"flag"
	"os"
	"testing"

	"telltale/testdata/memory"
)

// TestMain keeps in memory what the servers of the tests store, and has more tests run
// at a time than there are cores, since they wait for most of their time. In CI they
// are on the disk, and one to a core.
func TestMain(m *testing.M) {
	memory.Use()
	if os.Getenv("TELLTALE_CI") != "1" {
		if err := flag.Set("test.parallel", "6"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
