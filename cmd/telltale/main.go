// Telltale reads what vehicles, workshops and laboratories report, judges it by
// rules that their keepers wrote, and tells the right person in time.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/enter"
	"telltale/cmd/telltale/internal/setup"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}

// run is the whole program; a test can start it. It returns the exit code.
func run(ctx context.Context, args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	cmd := root(stdin, stdout, stderr)
	cmd.SetArgs(args)
	err := cmd.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	return cli.Report(stderr, err)
}

func root(stdin io.Reader, stdout, stderr io.Writer) *cobra.Command {
	s := cli.Env{In: stdin, Out: stdout, Err: stderr, NATS: func(dir string) (string, error) {
		set, err := loadSettings(dir)
		return set.NATS, err
	}, Open: openStopped}
	cmd := &cobra.Command{
		Use:           "telltale",
		Short:         "Alerts on maintenance due and abnormal fluid samples, by rules of your own",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	cmd.SetOut(stdout)
	cmd.SetErr(stderr)
	cmd.CompletionOptions.DisableDefaultCmd = true
	cmd.AddCommand(setup.Command(s, ready), demoCommand(s), serveCommand(s), sendCommand(s), chaptersCommand(s),
		deliveriesCommand(s), previewCommand(s), checkCommand(s), adoptCommand(s), schemaCommand(s), wordsCommand(s))
	cmd.AddCommand(enter.Commands(s)...)
	cmd.AddCommand(ask.Commands(s)...)
	return cmd
}
