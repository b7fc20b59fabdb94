package server

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// lockDir takes the folder for this process, because the store of a NATS server
// has no lock of its own. The lock goes with the process, however it ends.
func lockDir(dir string) (*os.File, error) {
	name := filepath.Join(dir, "lock")
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("locking folder %q: %w", dir, err)
	}
	if err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB); err != nil {
		f.Close()
		holder, _ := os.ReadFile(name)
		return nil, fmt.Errorf("locking folder %q: process %s holds it: %w", dir, strings.TrimSpace(string(holder)), err)
	}
	if err = f.Truncate(0); err == nil {
		_, err = fmt.Fprintln(f, os.Getpid())
	}
	if err != nil {
		f.Close()
		return nil, fmt.Errorf("locking folder %q: %w", dir, err)
	}
	return f, nil
}
