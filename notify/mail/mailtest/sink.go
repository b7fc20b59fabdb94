package mailtest

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Sink is an smtp-sink, which takes every mail.
type Sink struct {
	Port int
	dir  string
	stop func()
}

// StartSink runs an smtp-sink until the test ends or Stop is called, with flags like
// "-q", "." (hang up at the final dot), "-r", "rcpt" (refuse for now), "-f", "rcpt"
// (refuse), "-w", "600" (wait as many seconds before it answers to DATA).
func StartSink(t testing.TB, flags ...string) *Sink {
	t.Helper()
	return StartSinkAt(t, freePort(t), flags...)
}

// StartSinkAt is StartSink at a port.
func StartSinkAt(t testing.TB, port int, flags ...string) *Sink {
	t.Helper()
	needed(t, "smtp-sink")
	s := &Sink{Port: port, dir: openFolder(t)}
	args := append([]string{"-d", filepath.Join(s.dir, "mail-")}, flags...)
	if os.Geteuid() == 0 { // it will not run as root
		uid, _ := owner(t, "nobody")
		if err := os.Chown(s.dir, uid, -1); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-u", "nobody")
	}
	cmd := exec.Command("smtp-sink", append(args, fmt.Sprintf("127.0.0.1:%d", port), "100")...)
	var said strings.Builder
	cmd.Stdout, cmd.Stderr = &said, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	stopped := false
	s.stop = func() {
		if !stopped {
			stopped = true
			_ = cmd.Process.Kill() // it keeps nothing
			_ = cmd.Wait()
		}
	}
	t.Cleanup(s.stop)
	answers(t, s.Port, func() string { return "" })
	return s
}

// Stop ends the server, so that another can take its port.
func (s *Sink) Stop() { s.stop() }

// Taken are the mails that were taken, with the lines that smtp-sink puts before them.
func (s *Sink) Taken(t testing.TB) (mails []string) {
	t.Helper()
	paths, err := filepath.Glob(filepath.Join(s.dir, "mail-*"))
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		mails = append(mails, string(raw))
	}
	return mails
}
