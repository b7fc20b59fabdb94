package delivery

import (
	"context"
	"maps"
	"slices"
	"sync"
)

// Memory is a Store that ends with the process; it keeps a checkpoint too.
type Memory struct {
	mu    sync.Mutex
	keys  map[string][]byte
	check []byte
}

// Create implements Store.
func (m *Memory) Create(_ context.Context, key string, body []byte) (bool, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.keys[key] != nil {
		return false, nil
	}
	m.put(key, body)
	return true, nil
}

func (m *Memory) put(key string, body []byte) {
	if m.keys == nil {
		m.keys = map[string][]byte{}
	}
	m.keys[key] = body
}

// Replace implements Store.
func (m *Memory) Replace(_ context.Context, key string, body []byte) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.put(key, body)
	return nil
}

// Drop implements Store.
func (m *Memory) Drop(_ context.Context, key string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	delete(m.keys, key)
	return nil
}

// Each implements Store, in order of the keys.
func (m *Memory) Each(_ context.Context, do func(key string, body []byte) error) error {
	m.mu.Lock()
	all := maps.Clone(m.keys)
	m.mu.Unlock()
	for _, k := range slices.Sorted(maps.Keys(all)) {
		if err := do(k, all[k]); err != nil {
			return err
		}
	}
	return nil
}

// Checkpoint is what SetCheckpoint stored last; nil where it stored nothing.
func (m *Memory) Checkpoint(context.Context) ([]byte, error) { return m.check, nil }

// SetCheckpoint stores the checkpoint of the one that makes the deliveries.
func (m *Memory) SetCheckpoint(_ context.Context, body []byte) error { m.check = body; return nil }
