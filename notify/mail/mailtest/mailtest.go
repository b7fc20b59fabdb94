// Package mailtest runs real mail servers for tests: a private Postfix that puts
// mail into boxes and sends nothing on, and Postfix's smtp-sink, which takes mail or
// refuses it as it is told. A test skips where they are not installed; with
// TELLTALE_CI=1 that is a failure.
package mailtest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// Domain is the one whose mail a Postfix takes, for the people given to it.
const Domain = "larkfell.example"

// patience is how long a server may take to start or to end on a busy machine.
const patience = time.Minute

// Postfix is a private Postfix on the loopback interface.
type Postfix struct {
	Port int
	dir  string
}

// StartPostfix runs a Postfix until the test ends. It takes mail in the clear for the
// boxes, names before the @ of Domain; settings are further lines of its main.cf.
func StartPostfix(t testing.TB, boxes []string, settings ...string) *Postfix {
	t.Helper()
	program := needed(t, "postfix")
	if os.Geteuid() != 0 {
		missing(t, "a private Postfix is started by root alone")
	}
	p := &Postfix{Port: freePort(t), dir: openFolder(t)}
	nobody, group := owner(t, "nobody")
	mail, _ := owner(t, "postfix")
	for name, uid := range map[string]int{"spool": -1, "conf": -1, "log": -1, "data": mail, "mail": nobody} {
		path := filepath.Join(p.dir, name)
		if err := errors.Join(os.Mkdir(path, 0o755), os.Chown(path, uid, -1)); err != nil {
			t.Fatal(err)
		}
	}
	var lines strings.Builder
	for _, b := range boxes {
		fmt.Fprintf(&lines, "%s@%s %s/\n", b, Domain, b)
	}
	for name, text := range map[string]string{
		"boxes":     lines.String(),
		"main.cf":   fmt.Sprintf(mainCf, p.dir, nobody, group, Domain) + strings.Join(settings, "\n") + "\n",
		"master.cf": fmt.Sprintf("127.0.0.1:%d inet n - n - - smtpd\n%s", p.Port, masterCf),
	} {
		if err := os.WriteFile(filepath.Join(p.dir, "conf", name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	p.start(t, program)
	return p
}

// start runs the program in the foreground and waits until it answers.
func (p *Postfix) start(t testing.TB, program string) {
	t.Helper()
	out, err := os.Create(filepath.Join(p.dir, "log", "start"))
	if err != nil {
		t.Fatal(err)
	}
	conf := filepath.Join(p.dir, "conf")
	cmd := exec.CommandContext(t.Context(), program, "-c", conf, "start-fg")
	cmd.Stdout, cmd.Stderr = out, out
	cmd.WaitDelay = patience // after which it is killed
	cmd.Cancel = func() error {
		stop := exec.Command(program, "-c", conf, "stop")
		stop.Stdout, stop.Stderr = out, out
		return stop.Run()
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = cmd.Wait() // how it ended is no matter
		out.Close()
	})
	answers(t, p.Port, p.Log)
}

// Box returns what lies in a box, each mail as it was delivered, in no order.
func (p *Postfix) Box(t testing.TB, name string) []string {
	t.Helper()
	return texts(t, filepath.Join(p.dir, "mail", name, "new", "*"))
}

// texts are those of the files that a pattern matches.
func texts(t testing.TB, pattern string) (all []string) {
	t.Helper()
	paths, err := filepath.Glob(pattern)
	if err != nil {
		t.Fatal(err)
	}
	for _, path := range paths {
		raw, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, string(raw))
	}
	return all
}

// Log is what the server has logged.
func (p *Postfix) Log() string {
	var all strings.Builder
	for _, name := range []string{"start", "maillog"} {
		text, _ := os.ReadFile(filepath.Join(p.dir, "log", name)) // none yet
		all.Write(text)
	}
	return all.String()
}

const mainCf = `compatibility_level = 3.6
queue_directory = %[1]s/spool
data_directory = %[1]s/data
maillog_file = %[1]s/log/maillog
maillog_file_prefixes = %[1]s
mail_owner = postfix
setgid_group = postdrop
myhostname = relay.%[4]s
mydestination =
inet_interfaces = 127.0.0.1
inet_protocols = ipv4
mynetworks = 127.0.0.0/8
virtual_mailbox_domains = %[4]s
virtual_mailbox_base = %[1]s/mail
virtual_mailbox_maps = texthash:%[1]s/conf/boxes
virtual_uid_maps = static:%[2]d
virtual_gid_maps = static:%[3]d
virtual_minimum_uid = 1
default_transport = error:nothing leaves this machine
alias_maps =
`

// Nothing here runs in a changed root, which would need files copied into it.
const masterCf = `cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
verify unix - - n - 1 verify
flush unix n - n 1000? 0 flush
proxymap unix - - n - - proxymap
error unix - - n - - error
retry unix - - n - - error
discard unix - - n - - discard
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
scache unix - - n - 1 scache
tlsmgr unix - - n 1000? 1 tlsmgr
postlog unix-dgram n - n - 1 postlogd
`

// openFolder is a folder that other users can reach, as those of a test are not.
func openFolder(t testing.TB) string {
	t.Helper()
	dir, err := os.MkdirTemp("", "telltale-mail-")
	if err == nil {
		err = os.Chmod(dir, 0o755)
	}
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func owner(t testing.TB, name string) (uid, gid int) {
	t.Helper()
	u, err := user.Lookup(name)
	if err != nil {
		missing(t, err.Error())
	}
	uid, err1 := strconv.Atoi(u.Uid)
	gid, err2 := strconv.Atoi(u.Gid)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	return uid, gid
}

// needed is where the program is; the test is skipped where it is not installed. Debian
// keeps it where only root's search goes.
func needed(t testing.TB, program string) string {
	t.Helper()
	for _, name := range []string{program, "/usr/sbin/" + program} {
		if at, err := exec.LookPath(name); err == nil {
			return at
		}
	}
	missing(t, program+" is not installed (apt-get install postfix)")
	return ""
}

// missing is what the machine lacks for a test.
func missing(t testing.TB, what string) {
	t.Helper()
	if os.Getenv("TELLTALE_CI") == "1" {
		t.Fatalf("%s, and TELLTALE_CI=1", what)
	}
	t.Skipf("%s (with TELLTALE_CI=1 a failure)", what)
}

func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

// answers waits until something listens on the port.
func answers(t testing.TB, port int, log func() string) {
	t.Helper()
	for began := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		conn, err := net.Dial("tcp", net.JoinHostPort("127.0.0.1", strconv.Itoa(port)))
		if err == nil {
			conn.Close()
			return
		}
		if time.Since(began) > patience {
			t.Fatalf("the mail server does not come up: %v\n%s", err, log())
		}
	}
}

// Sink is an smtp-sink, which takes every mail.
type Sink struct {
	Port int
	Stop func() // ends it, so that another can take its port
	dir  string
}

// StartSink runs an smtp-sink at a port, 0 for any, until the test ends or Stop is
// called, with flags like "-q", "." (hang up at the final dot), "-r", "rcpt" (refuse
// for now), "-f", "rcpt" (refuse), "-w", "600" (wait as many seconds before it answers
// to DATA).
func StartSink(t testing.TB, port int, flags ...string) *Sink {
	t.Helper()
	program := needed(t, "smtp-sink")
	if port == 0 {
		port = freePort(t)
	}
	s := &Sink{Port: port, dir: openFolder(t)}
	args := append([]string{"-d", filepath.Join(s.dir, "mail-")}, flags...)
	if os.Geteuid() == 0 { // it will not run as root
		uid, _ := owner(t, "nobody")
		if err := os.Chown(s.dir, uid, -1); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-u", "nobody")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cmd := exec.CommandContext(ctx, program, append(args, fmt.Sprintf("127.0.0.1:%d", port), "100")...)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s.Stop = sync.OnceFunc(func() {
		cancel() // it keeps nothing
		_ = cmd.Wait()
	})
	t.Cleanup(s.Stop)
	answers(t, s.Port, func() string { return "" })
	return s
}

// Taken are the mails that were taken, with the lines that smtp-sink puts before them.
func (s *Sink) Taken(t testing.TB) []string {
	t.Helper()
	return texts(t, filepath.Join(s.dir, "mail-*"))
}
