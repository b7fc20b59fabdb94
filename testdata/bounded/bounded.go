// Package bounded fails a test whose work grows out of all proportion, as with input
// that somebody wrote to harm.
package bounded

import (
	"runtime"
	"testing"
	"time"
)

// Run fails the test if the work takes over a second or 64 MiB. A busy machine gets
// three tries.
func Run(t *testing.T, work func()) {
	t.Helper()
	const seconds, bytes = 1, 64 << 20
	var took time.Duration
	for range 3 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := time.Now()
		work()
		took = time.Since(began)
		runtime.ReadMemStats(&after)
		if grown := after.TotalAlloc - before.TotalAlloc; grown > bytes {
			t.Fatalf("it takes %d bytes", grown)
		}
		if took <= seconds*time.Second {
			return
		}
	}
	t.Fatalf("it takes %v", took)
}
