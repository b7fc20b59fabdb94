package files

import (
	"fmt"
	"sync"
	"testing"
)

// The same file sent from two tabs at once is held once: else one of the two is sent, and the
// other is asked what became of it.
func TestSameFileAtOnce(t *testing.T) {
	for range 5000 {
		s := newShelf()
		var wg sync.WaitGroup
		var got [8]*held
		for i := range got {
			wg.Go(func() {
				got[i] = s.put(&held{name: "june.csv", table: []byte("a,b\n"), named: "m.yaml", mapped: []byte("x")})
			})
		}
		wg.Wait()
		for _, h := range got {
			if h != got[0] || len(s.items) != 1 || s.bytes != h.size() {
				t.Fatalf("held are %d files of %d bytes", len(s.items), s.bytes)
			}
		}
		s.drop(got[0])
	}
}

// However many files are sent, only so many are held, and none of more memory.
func TestManyFilesAtOnce(t *testing.T) {
	s := newShelf()
	var wg sync.WaitGroup
	for i := range 14 {
		wg.Go(func() { s.put(&held{name: fmt.Sprint(i), table: make([]byte, maxFile)}) })
	}
	wg.Wait()
	if len(s.items) > maxHeld || s.bytes > maxMemory || len(s.items) != len(s.ends) {
		t.Errorf("held are %d files of %d bytes, with %d ends", len(s.items), s.bytes, len(s.ends))
	}
}
