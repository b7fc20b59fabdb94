package delivery

import (
	"context"
	"maps"
	"slices"
	"sync"
)

// Memory is a store that ends with the process. It keeps a checkpoint too.
type Memory struct {
	mu    sync.Mutex
	keys  map[string][]byte
	check []byte
	// Fail is asked before each write, nil for none: an error that it returns is
	// returned. With After the write is done all the same, as when only the answer
	// is lost.
	Fail  func(op, key string) error
	After bool
}

func (m *Memory) write(op, key string, do func()) (err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.keys == nil {
		m.keys = map[string][]byte{}
	}
	if m.Fail != nil {
		err = m.Fail(op, key)
	}
	if err == nil || m.After {
		do()
	}
	return err
}

// Create implements Store.
func (m *Memory) Create(_ context.Context, key string, body []byte) (created bool, err error) {
	err = m.write("create", key, func() {
		if created = m.keys[key] == nil; created {
			m.keys[key] = body
		}
	})
	return created && err == nil, err
}

// Replace implements Store.
func (m *Memory) Replace(ctx context.Context, key string, body []byte) error {
	if ctx.Err() != nil {
		return ctx.Err()
	}
	return m.write("replace", key, func() { m.keys[key] = body })
}

// Drop implements Store.
func (m *Memory) Drop(_ context.Context, key string) error {
	return m.write("drop", key, func() { delete(m.keys, key) })
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

// Checkpoint is what SetCheckpoint stored last.
func (m *Memory) Checkpoint(context.Context) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.check, nil
}

// SetCheckpoint stores the checkpoint.
func (m *Memory) SetCheckpoint(_ context.Context, body []byte) error {
	return m.write("checkpoint", "", func() { m.check = body })
}
