package mail

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"telltale/notify/delivery"
)

// Folder keeps mails as .eml files, which any mail program opens.
type Folder struct {
	Dir string
	// Ext is how the files' names end; ".eml" where empty.
	Ext string
	// Wrote is told the path of each file; nil for nobody.
	Wrote func(path string)
}

// Send writes the delivery to Dir as <time>-<key>.eml, whole or not at all. The
// same delivery again is the same file.
func (f *Folder) Send(_ context.Context, d delivery.Delivery) error {
	if strings.ContainsAny(d.Key, `/\`) {
		return &delivery.Failure{Class: delivery.Permanent, Err: fmt.Errorf("delivery key %q cannot be a file name", d.Key)}
	}
	path := filepath.Join(f.Dir, d.Time.UTC().Format("20060102T150405Z")+"-"+d.Key+cmp.Or(f.Ext, ".eml"))
	err := write(path, d.Raw)
	switch {
	case errors.Is(err, fs.ErrPermission) || errors.Is(err, fs.ErrNotExist):
		return &delivery.Failure{Class: delivery.Ours, Err: fmt.Errorf("writing mail: %w", err)}
	case err != nil:
		return fmt.Errorf("writing mail: %w", err)
	}
	if f.Wrote != nil {
		f.Wrote(path)
	}
	return nil
}

// write makes the file under another name first, so that nobody reads half of it.
func write(path string, body []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), ".mail-*")
	if err != nil {
		return err
	}
	defer os.Remove(tmp.Name()) // gone already once renamed
	_, err = tmp.Write(body)
	err = errors.Join(err, tmp.Chmod(0o644), tmp.Sync(), tmp.Close())
	if err != nil {
		return err
	}
	return os.Rename(tmp.Name(), path)
}
