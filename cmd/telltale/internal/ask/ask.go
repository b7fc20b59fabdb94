// Package ask is the commands that ask what stands, of a running service or of a file
// of events that they fold.
package ask

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/spf13/cobra"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/event"
	"telltale/engine/stream/service"
	"telltale/rules/source"
)

// Commands are due, alarms, refused, why, sample, history, baselines and replay.
func Commands(s cli.Env) []*cobra.Command {
	return []*cobra.Command{dueCommand(s), alarmsCommand(s), refusedCommand(s), whyCommand(s), sampleCommand(s), historyCommand(s), baselinesCommand(s), replayCommand(s)}
}

// RegisteredVehicle is the vehicle's registration, or the error that names the
// nearest there is.
func RegisteredVehicle(ctx context.Context, nc *nats.Conn, vehicle string) (*event.VehicleData, error) {
	list, err := service.Register.Ask(ctx, nc, service.Question{})
	if err != nil {
		return nil, err
	}
	var ids []string
	near := ""
	for _, v := range list {
		if v.Vehicle == vehicle {
			return v.VehicleData, nil
		}
		if strings.EqualFold(v.Name, vehicle) {
			near = v.Vehicle
		}
		ids = append(ids, v.Vehicle)
	}
	if near == "" {
		near = source.Near(vehicle, ids)
	}
	return nil, cli.Exit(2, cli.Hint(fmt.Errorf("no vehicle %q is registered", vehicle), DidYouMean(near, ids)))
}

// UnknownVehicle is the error of an empty list that was asked of a vehicle nobody
// registered; nil where it is registered, or none was named.
func UnknownVehicle(ctx context.Context, nc *nats.Conn, vehicle string) error {
	if vehicle == "" {
		return nil
	}
	_, err := RegisteredVehicle(ctx, nc, vehicle)
	if x := (cli.ExitError{}); errors.As(err, &x) {
		return x.Err // there is no such vehicle, but the question was well put: exit code 1
	}
	return err
}

// DidYouMean asks after the nearest name, or lists what there is.
func DidYouMean(near string, all []string) string {
	switch {
	case near != "":
		return "did you mean " + Quoted(near) + "?"
	case len(all) == 0:
		return "there is none"
	}
	slices.Sort(all)
	if len(all) > 20 {
		all = append(slices.Clone(all[:20]), "…")
	}
	return "there are: " + strings.Join(all, ", ")
}

// Quoted is a name as it is typed in a shell.
func Quoted(name string) string {
	if strings.ContainsAny(name, " '\"$&;|<>()*?`\\") {
		return `"` + name + `"`
	}
	return name
}
