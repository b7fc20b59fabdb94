// Telltale reads what vehicles, workshops and laboratories report, judges it by
// rules that their keepers wrote, and tells the right person in time.
package main

import (
	"context"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/ask"
	"telltale/cmd/telltale/internal/cli"
	"telltale/cmd/telltale/internal/enter"
	"telltale/cmd/telltale/internal/keys"
	"telltale/cmd/telltale/internal/setup"
	"telltale/cmd/telltale/internal/trail"
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
	called, err := cmd.ExecuteContextC(ctx)
	if err == nil {
		return 0
	}
	return cli.Report(stderr, withCall(called, err))
}

// withCall gives what is wrong with the flags of a call the line that helps.
func withCall(called *cobra.Command, err error) error {
	first, _, _ := strings.Cut(strings.TrimSpace(called.Example), "\n")
	switch text := err.Error(); {
	case strings.HasPrefix(text, "required flag") && first != "":
		return cli.Hint(err, first)
	case strings.HasPrefix(text, "unknown flag"), strings.HasPrefix(text, "unknown shorthand flag"):
		return cli.Hint(err, called.CommandPath()+" --help lists the flags")
	}
	return err
}

func root(stdin io.Reader, stdout, stderr io.Writer) *cobra.Command {
	s := cli.Env{In: stdin, Out: stdout, Err: stderr, Reads: readsOf, Settings: func(dir string) (cli.Door, error) {
		set, err := loadSettings(dir)
		return set.door(), err
	}, Open: openStopped}
	cmd := &cobra.Command{
		Use:           "telltale",
		Short:         "Tells you when vehicles need maintenance and when a fluid sample is abnormal",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	cmd.SetOut(stdout)
	cmd.SetErr(stderr)
	cmd.CompletionOptions.DisableDefaultCmd = true
	grouped(cmd, "Start and run", setup.Command(s, ready), checkCommand(s), serveCommand(s), demoCommand(s), adoptCommand(s), keys.Command(s))
	grouped(cmd, "Enter", append(enter.Commands(s), sendCommand(s))...)
	grouped(cmd, "Ask", append(ask.Commands(s), deliveriesCommand(s), trail.Command(s))...)
	cmd.SetHelpCommandGroupID("Start and run")
	grouped(cmd, "Rules", append(ask.Trials(s), previewCommand(s), chaptersCommand(s), wordsCommand(s), schemaCommand(s), languageServerCommand(s))...)
	return cmd
}

// grouped adds commands under a heading of their own in the help.
func grouped(root *cobra.Command, heading string, commands ...*cobra.Command) {
	root.AddGroup(&cobra.Group{ID: heading, Title: heading + ":"})
	for _, c := range commands {
		c.GroupID = heading
	}
	root.AddCommand(commands...)
}
