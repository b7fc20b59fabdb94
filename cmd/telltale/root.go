package main

import (
	"io"

	"github.com/spf13/cobra"
)

// streams are where a command reads and writes: stdout takes what was asked for,
// stderr everything else.
type streams struct {
	in  io.Reader
	out io.Writer
	err io.Writer
}

func root(stdin io.Reader, stdout, stderr io.Writer) *cobra.Command {
	s := streams{stdin, stdout, stderr}
	cmd := &cobra.Command{
		Use:           "telltale",
		Short:         "Alerts on maintenance due and abnormal fluid samples, by rules of your own",
		SilenceUsage:  true,
		SilenceErrors: true,
	}
	cmd.SetOut(stdout)
	cmd.SetErr(stderr)
	cmd.CompletionOptions.DisableDefaultCmd = true
	cmd.AddCommand(initCommand(s), demoCommand(s), serveCommand(s), sendCommand(s), importCommand(s), chaptersCommand(s), recordCommand(s), historyCommand(s), dueCommand(s), alarmsCommand(s), refusedCommand(s),
		deliveriesCommand(s), previewCommand(s), replayCommand(s), whyCommand(s), sampleCommand(s), baselinesCommand(s), checkCommand(s), adoptCommand(s), schemaCommand(s), wordsCommand(s))
	return cmd
}
