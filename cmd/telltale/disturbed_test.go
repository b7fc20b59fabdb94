//go:build unix

package main

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go"
)

// natsMain is `fleet-nats DIR PORT`: a NATS server in a process of its own.
func natsMain() {
	port, err := strconv.Atoi(os.Args[2])
	if err != nil {
		panic(err)
	}
	ns, err := server.NewServer(&server.Options{ServerName: "fleet-nats", Host: "127.0.0.1", Port: port, JetStream: true, StoreDir: os.Args[1], NoSigs: true, NoLog: true})
	if err != nil {
		panic(err)
	}
	go ns.Start()
	stop := make(chan os.Signal, 1)
	signal.Notify(stop, os.Interrupt)
	<-stop
	ns.Shutdown()
	ns.WaitForShutdown()
}

// natsProcess is a NATS server that comes back on the same port with the same store.
type natsProcess struct {
	dir, port string
	cmd       *exec.Cmd
}

// newNATS is one that is not started yet.
func newNATS(t *testing.T) *natsProcess {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, err := net.SplitHostPort(l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err != nil {
		t.Fatal(err)
	}
	return &natsProcess{dir: t.TempDir(), port: port}
}

func (n *natsProcess) url() string { return "nats://127.0.0.1:" + n.port }

func (n *natsProcess) start(t *testing.T) {
	t.Helper()
	n.cmd = exec.Command("fleet-nats", n.dir, n.port)
	n.cmd.Stderr = os.Stderr
	if err := n.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { n.end(syscall.SIGKILL) })
	if !poll(patience, func() bool {
		nc, err := nats.Connect(n.url())
		if err == nil {
			nc.Close()
		}
		return err == nil
	}) {
		t.Fatal("the NATS server does not come up")
	}
}

func (n *natsProcess) end(how syscall.Signal) {
	_ = n.cmd.Process.Signal(how) // it may be gone
	_ = n.cmd.Wait()
}

// TestUnreachable starts a service before its NATS server: it waits, is not ready and
// says so once, becomes ready with the server, and so again when that went and came
// back.
func TestUnreachable(t *testing.T) {
	t.Parallel()
	ns := newNATS(t)
	files := replicaFiles(ns.url())
	files["telltale.yaml"] += "metrics: 127.0.0.1:0\n"
	dir := folder(t, files)
	p := startProcess(t, dir)
	log := func() string {
		text, err := os.ReadFile(filepath.Join(dir, "serve.log"))
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	var ready string
	if !poll(patience, func() bool {
		m := regexp.MustCompile(`http://127\.0\.0\.1:\d+/`).FindString(log())
		ready = m + "readyz"
		return m != "" && strings.Contains(log(), "NATS server does not answer; retrying")
	}) {
		t.Fatalf("it does not say that it waits:\n%s", log())
	}
	until := func(want string) {
		t.Helper()
		got := ""
		if !poll(patience, func() bool {
			code, text := get(t, ready)
			got = fmt.Sprint(code, " ", text)
			return got == want
		}) {
			t.Fatalf("%q, want %q; its log:\n%s", got, want, log())
		}
	}
	until("503 coming up\n")
	ns.start(t)
	until("200 ok\n")
	ns.end(syscall.SIGKILL)
	until("503 no connection to NATS\n")
	ns.start(t)
	until("200 ok\n")
	p.end(t)
	if n := strings.Count(log(), "NATS server does not answer"); n != 1 {
		t.Errorf("it said %d times that no server answers, want once:\n%s", n, log())
	}
}

// TestReplicasDisturbed has three services on one NATS server: again and again one is
// killed, paused and resumed, or stopped and started, or the server itself goes and
// comes back, while a gateway goes on publishing. In the end what they said is what a
// fold of the log says, once each, and so is what was told. There are 50 disturbances in CI
// and one of each kind elsewhere.
func TestReplicasDisturbed(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	if one, err := strconv.ParseUint(os.Getenv("TELLTALE_SEED"), 10, 64); err == nil {
		seed = one
	}
	t.Logf("seed %d", seed)
	ns := newNATS(t)
	ns.start(t)
	d := &disturbed{killFleet: newKillFleet(t, seed, ns.url(), 3), ns: ns}
	for _, dir := range d.dirs {
		d.procs = append(d.procs, startProcess(t, dir))
	}
	if !poll(patience, func() bool { code, _, _ := told(t, "adopt", d.dirs[0]); return code == 0 }) {
		t.Fatalf("the rules are not adopted; the services' logs:\n%s", d.logs(t))
	}
	stop := make(chan struct{})
	var publishing sync.WaitGroup
	publishing.Go(func() { d.publish(t, stop) })
	times := []int{0, 1, 2, 5}
	if underCI() {
		times = times[:0]
		for n := range 50 {
			times = append(times, n)
		}
	}
	for _, n := range times {
		time.Sleep(time.Duration(50+d.rnd.IntN(700)) * time.Millisecond) // a random moment is the point
		d.disturb(t, n)
	}
	d.enough(t)
	close(stop)
	publishing.Wait()
	d.paused.Wait()
	d.settle(t)
	for _, p := range d.procs {
		p.end(t)
	}
	d.check(t)
	if t.Failed() {
		t.Logf("the services' logs:\n%s", d.logs(t))
	}
}

// disturbed is a fleet with several services, and what disturbs them.
type disturbed struct {
	*killFleet
	ns     *natsProcess
	procs  []*process
	paused sync.WaitGroup
}

// disturb does one thing; the first eight times each of them once.
func (d *disturbed) disturb(t *testing.T, n int) {
	t.Helper()
	i := d.rnd.IntN(len(d.procs))
	p, dir := d.procs[i], d.dirs[i]
	kind := n % 8
	if n >= 8 {
		kind = d.rnd.IntN(8)
	}
	switch kind {
	case 0, 3, 6:
		p.kill()
		d.procs[i] = startProcess(t, dir)
	case 1, 4: // for less or more than its key lives
		d.pause(p, time.Duration(200+d.rnd.IntN(3500))*time.Millisecond)
	case 2, 7:
		p.interrupt(t)
		d.procs[i] = startProcess(t, dir)
	case 5:
		d.ns.end([]syscall.Signal{syscall.SIGKILL, os.Interrupt.(syscall.Signal)}[d.rnd.IntN(2)])
		time.Sleep(time.Duration(d.rnd.IntN(1500)) * time.Millisecond) // meanwhile nobody is served
		d.ns.start(t)
	}
}

// pause stops the process for a while and lets the test go on.
func (d *disturbed) pause(p *process, length time.Duration) {
	if p.cmd.Process.Signal(syscall.SIGSTOP) != nil {
		return
	}
	d.paused.Go(func() {
		time.Sleep(length)
		_ = p.cmd.Process.Signal(syscall.SIGCONT) // it may have been killed
	})
}
