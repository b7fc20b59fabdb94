package server

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"telltale/engine/stream/server/accounts"
)

// formerAccount is that in which the store of a folder lies that was made before there were
// accounts: the server's own for those who name none.
const formerAccount = "$G"

// adoptStore has the store of an older folder found by the account that has it now. The
// server would start with an empty one beside it, and say nothing. It is one rename, which
// is done or not whenever the machine stops.
func adoptStore(dir string) error {
	root := filepath.Join(dir, "nats", "jetstream")
	from, to := filepath.Join(root, formerAccount), filepath.Join(root, accounts.Own)
	old, err := holds(from)
	if err != nil || !old {
		return err
	}
	switch both, err := holds(to); {
	case err != nil:
		return err
	case both:
		return fmt.Errorf("taking over the store of an older version: there are two, %s and %s; keep the one with the fleet's data and move the other elsewhere", from, to)
	}
	if err := os.Remove(to); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("taking over the store of an older version: %w", err)
	}
	if err := os.Rename(from, to); err != nil {
		return fmt.Errorf("taking over the store of an older version: %w", err)
	}
	return syncDir(root)
}

// holds reports whether anything is in the folder; there may be none.
func holds(dir string) (bool, error) {
	list, err := os.ReadDir(dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, fmt.Errorf("looking at the store: %w", err)
	}
	return len(list) > 0, nil
}

// syncDir has the rename on the disk before anything is written behind it.
func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return fmt.Errorf("looking at the store: %w", err)
	}
	return errors.Join(d.Sync(), d.Close())
}
