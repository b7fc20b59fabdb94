package files

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"telltale/engine/intake/table/chosen"
)

// Files are held for their time after they were asked for, so many and so large together.
func TestShelf(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := newShelf()
		first := s.put(&held{name: "a.csv", table: []byte("a")})
		if s.put(&held{name: "a.csv", table: []byte("a")}) != first {
			t.Error("the same file is held twice")
		}
		time.Sleep(holdFor - time.Second)
		if s.get(first.hash) != first {
			t.Error("it is gone before its time")
		}
		time.Sleep(holdFor - time.Second)
		synctest.Wait()
		if s.get(first.hash) != first {
			t.Error("it is gone although it was asked for")
		}
		time.Sleep(holdFor + time.Second)
		synctest.Wait()
		if s.get(first.hash) != nil || s.bytes != 0 || len(s.items) != 0 || len(s.ends) != 0 {
			t.Errorf("after its time %d are held, of %d bytes", len(s.items), s.bytes)
		}
		var all []*held
		for i := range 2 * maxHeld {
			all = append(all, s.put(&held{name: fmt.Sprint(i), table: []byte("a")}))
			s.get(all[0].hash) // the one that is in use
		}
		if len(s.items) != maxHeld || s.get(all[0].hash) == nil || s.get(all[1].hash) != nil {
			t.Errorf("%d are held", len(s.items))
		}
		large := s.put(&held{name: "large", table: make([]byte, maxMemory)})
		if len(s.items) != 1 || s.get(large.hash) != large || s.bytes != maxMemory {
			t.Errorf("%d are held, of %d bytes", len(s.items), s.bytes)
		}
		s.mu.Lock()
		s.drop(large)
		s.mu.Unlock()
	})
}

// Every meaning and every sort of table has its words.
func TestLabels(t *testing.T) {
	for _, sort := range chosen.Sorts {
		if sorts[string(sort)] == "" || named[string(sort)] == "" {
			t.Errorf("no words for %s", sort)
		}
		for _, m := range sort.Meanings() {
			if labels[m.Key] == "" {
				t.Errorf("no words for %s of %s", m.Key, sort)
			}
		}
	}
}
