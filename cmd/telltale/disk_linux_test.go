package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// TestDiskFull fills the disk under a running service: it says so and ends, and what
// it had acknowledged is there once there is room again.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	dir := smallDisk(t, 8<<20)
	for name, text := range map[string]string{"rules/bus.yaml": busRules, "telltale.yaml": "clock: events\n",
		"vehicles.yaml": "vehicles:\n  bus-07: {name: Bus 7, kind: minibus, meters: {odometer: distance}}\n"} {
		path := filepath.Join(dir, name)
		if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o755), os.WriteFile(path, []byte(text), 0o644)); err != nil {
			t.Fatal(err)
		}
	}
	s := serving(t, dir)
	js, err := jetstream.New(s.connect(t))
	if err != nil {
		t.Fatal(err)
	}
	stored := map[uint64]string{} // by sequence, what was acknowledged
	for n := range 50 {
		if err := publishReading(t, js, n, stored); err != nil {
			t.Fatalf("with room on the disk: %v", err)
		}
	}
	filler := filepath.Join(dir, "filler")
	fill(t, filler)
	for n := 50; ; n++ {
		if n == 5000 {
			t.Fatal("the disk is full, and it goes on acknowledging")
		}
		if publishReading(t, js, n, stored) != nil {
			break
		}
	}
	select {
	case <-s.ended:
	case <-time.After(patience):
		t.Fatalf("the disk is full, and it goes on running:\n%s", s.stderr.String())
	}
	said := strings.Split(strings.TrimSpace(s.stderr.String()), "\n")
	if s.code != 1 || !strings.Contains(strings.Join(said, "\n"), "\ntelltale: ") || !strings.Contains(strings.Join(said, "\n"), "disk full") {
		t.Errorf("exit code %d, want 1 and a word of the disk:\n%s", s.code, strings.Join(said, "\n"))
	}

	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	s = serving(t, dir)
	js, err = jetstream.New(s.connect(t))
	if err != nil {
		t.Fatal(err)
	}
	log, err := js.Stream(t.Context(), "EVENTS")
	if err != nil {
		t.Fatal(err)
	}
	for seq, id := range stored {
		if m, err := log.GetMsg(t.Context(), seq); err != nil || m.Header.Get(nats.MsgIdHdr) != id {
			t.Errorf("event %d, acknowledged as %s, is lost: %v", seq, id, err)
		}
	}
	if err := publishReading(t, js, 9000, stored); err != nil {
		t.Errorf("with room on the disk again: %v", err)
	}
	if !poll(patience, func() bool { return strings.Contains(telltale(t, "alarms", "--dir", dir), "overdue  bus-07") }) {
		t.Errorf("the reading that makes the bus overdue does nothing:\n%s", telltale(t, "alarms", "--dir", dir))
	}
	s.end(t)
}

// publishReading publishes the n-th reading, miles by miles, and writes down where
// it was stored.
func publishReading(t *testing.T, js jetstream.JetStream, n int, stored map[uint64]string) error {
	id := fmt.Sprintf("/gateway/r-%d", n)
	m := nats.NewMsg("telltale.in.bus-07.reading")
	m.Header.Set(nats.MsgIdHdr, id)
	m.Data = fmt.Appendf(nil, `{"specversion":"1.0","type":"telltale.reading.v1","source":"/gateway","id":"r-%d","subject":"bus-07","time":%q,"data":{"meter":"odometer","value":%d,"unit":"mi"}}`,
		n, time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(n)*time.Hour).Format(time.RFC3339), 1000+2*n)
	ack, err := js.PublishMsg(t.Context(), m)
	if err == nil {
		stored[ack.Sequence] = id
	}
	return err
}

// smallDisk mounts a disk in memory of so many bytes.
func smallDisk(t *testing.T, size int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("none", dir, "tmpfs", 0, fmt.Sprintf("size=%d", size)); err != nil {
		t.Skipf("a small disk cannot be mounted here, which takes root's rights: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// fill writes a file until the disk has no room.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for block := make([]byte, 4096); err == nil; {
		_, err = f.Write(block)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
}
