package files

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"sync"
	"time"

	"telltale/engine/alarm"
)

// What is held at most, and for how long after somebody asked for it.
const (
	holdFor   = 15 * time.Minute
	maxHeld   = 12
	maxMemory = 48 << 20
)

// held is a file that waits to be sent, or to be looked at.
type held struct {
	hash   string
	who    string // whose it is, as a source of entries
	name   string // of the table
	table  []byte
	named  string // of the mapping
	mapped []byte // its text; nil where it is still to be made

	mu   sync.Mutex
	sent *sent // nil until it was sent
}

// sent is what became of a file.
type sent struct {
	stored, before int
	refused        []alarm.Refusal
}

func (h *held) size() int { return len(h.table) + len(h.mapped) }

// hashOf names a file with its mapping: the same again is the same.
func hashOf(parts ...string) string {
	sum := sha256.New()
	for _, p := range parts {
		one := sha256.Sum256([]byte(p))
		sum.Write(one[:])
	}
	return hex.EncodeToString(sum.Sum(nil)[:16])
}

// shelf holds files in memory, the ones asked for last, each no longer than its time.
type shelf struct {
	mu    sync.Mutex
	items []*held // the one asked for last at the end
	ends  map[*held]*time.Timer
	bytes int
}

func newShelf() *shelf { return &shelf{ends: map[*held]*time.Timer{}} }

// put holds a file, and forgets others where there is no room for it.
func (s *shelf) put(h *held) *held {
	h.hash = hashOf(h.who, h.name, string(h.table), h.named, string(h.mapped))
	s.mu.Lock()
	defer s.mu.Unlock()
	if have := s.have(h.hash); have != nil {
		return have
	}
	for len(s.items) > 0 && (len(s.items) >= maxHeld || s.bytes+h.size() > maxMemory) {
		s.drop(s.items[0])
	}
	s.items = append(s.items, h)
	s.bytes += h.size()
	s.ends[h] = time.AfterFunc(holdFor, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		s.drop(h)
	})
	return h
}

// get is the file of that hash, held for its whole time again; nil where it was forgotten.
func (s *shelf) get(hash string) *held {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.have(hash)
}

// have is get with mu held.
func (s *shelf) have(hash string) *held {
	i := slices.IndexFunc(s.items, func(h *held) bool { return h.hash == hash })
	if i < 0 {
		return nil
	}
	h := s.items[i]
	s.items = append(slices.Delete(s.items, i, i+1), h)
	s.ends[h].Reset(holdFor)
	return h
}

// drop forgets a file; with mu held.
func (s *shelf) drop(h *held) {
	i := slices.Index(s.items, h)
	if i < 0 {
		return
	}
	s.ends[h].Stop()
	delete(s.ends, h)
	s.items = slices.Delete(s.items, i, i+1)
	s.bytes -= h.size()
}
