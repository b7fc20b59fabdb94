// Telltale reads what vehicles, workshops and laboratories report, judges it by
// rules that their keepers wrote, and tells the right person in time.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// exit is an error that asks for an exit code of its own: 2 where rules or files
// could not be read, 3 where an answer lacks the vehicles of some partitions.
type exit struct {
	code int
	err  error
}

func (e exit) Error() string { return e.err.Error() }
func (e exit) Unwrap() error { return e.err }

// hinted is an error with the line that names the cure.
type hinted struct {
	err  error
	hint string
}

func (h hinted) Error() string { return h.err.Error() }
func (h hinted) Unwrap() error { return h.err }

// run is the whole program; a test can start it. It returns the exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	cmd := root(stdin, stdout, stderr)
	cmd.SetArgs(args)
	err := cmd.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	fmt.Fprintf(stderr, "telltale: %v\n", err)
	if h := (hinted{}); errors.As(err, &h) {
		fmt.Fprintf(stderr, "hint: %s\n", h.hint)
	}
	if e := (exit{}); errors.As(err, &e) {
		return e.code
	}
	return 1
}
