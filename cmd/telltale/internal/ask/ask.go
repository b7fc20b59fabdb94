// Package ask is the commands that ask what stands, of a running service or of a file
// of events that they fold.
package ask

import (
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
)

// Commands are due, alarms, refused, why, sample, history, baselines and replay.
func Commands(s cli.Env) []*cobra.Command {
	return []*cobra.Command{dueCommand(s), alarmsCommand(s), refusedCommand(s), whyCommand(s), sampleCommand(s), historyCommand(s), baselinesCommand(s), replayCommand(s)}
}
