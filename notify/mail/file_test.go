package mail

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"telltale/notify/delivery"
)

func TestFolder(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "mail")
	var wrote []string
	f := &Folder{Dir: dir, Wrote: func(p string) { wrote = append(wrote, p) }}
	d := delivery.Delivery{Key: "alarm-0a", Time: time.Date(2031, 2, 19, 9, 30, 0, 0, time.FixedZone("", 3600)), Raw: []byte("To: x\r\n\r\nhello\r\n")}
	for range 2 { // the second try is the same file
		if err := f.Send(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	path := filepath.Join(dir, "20310219T083000Z-alarm-0a.eml")
	if want := []string{path, path}; !reflect.DeepEqual(wrote, want) {
		t.Errorf("wrote %q, want %q", wrote, want)
	}
	if got, err := os.ReadFile(path); err != nil || string(got) != string(d.Raw) {
		t.Errorf("got %q %v", got, err)
	}
	if all, _ := os.ReadDir(dir); len(all) != 1 {
		t.Errorf("%d files, want one", len(all))
	}
}

func TestFolderRefuses(t *testing.T) {
	var f *delivery.Failure
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	err := (&Folder{Dir: filepath.Join(file, "mail")}).Send(t.Context(), delivery.Delivery{Key: "a"})
	if err == nil {
		t.Error("a file as a folder was taken")
	}
	err = (&Folder{Dir: t.TempDir()}).Send(t.Context(), delivery.Delivery{Key: "../a"})
	if !errors.As(err, &f) || f.Class != delivery.Permanent {
		t.Errorf("a key that leaves the folder: %v", err)
	}
}
