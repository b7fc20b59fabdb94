package ask

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/nats-io/nats.go"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/alarm"
	"telltale/engine/stream/service"
	"telltale/rules/english"
	"telltale/rules/source"
)

// nothingDue says why a due list is empty where it is for want of a question that could
// have had an answer: no rules in force, or a tag that no vehicle has. Both are errors: an
// empty list would read as good news.
func nothingDue(ctx context.Context, nc *nats.Conn, tag string) error {
	h, err := service.QueryHealth(ctx, nc)
	switch {
	case err != nil:
		return err
	case h.Book == "":
		return cli.Hint(errors.New("no rules are in force, so nothing can be due"), "telltale adopt DIR puts those of a folder in force")
	case tag == "":
		return nil
	}
	return tagUsed(ctx, nc, tag)
}

// nothingDueOn says why nothing is listed of a vehicle: one out of service has no list.
func nothingDueOn(ctx context.Context, nc *nats.Conn, vehicle string) string {
	list, err := listOf(ctx, nc, service.Alarms, service.Question{Vehicle: vehicle})
	if err == nil && slices.ContainsFunc(list, func(a alarm.Listed) bool { return a.Standing == alarm.OutOfService }) {
		return vehicle + " is out of service, so nothing is due until telltale back " + english.Typed(vehicle)
	}
	return "nothing is due"
}

// tagUsed is the error that no vehicle has the tag, nil where one has.
func tagUsed(ctx context.Context, nc *nats.Conn, tag string) error {
	tags, err := service.Tags.Ask(ctx, nc, service.Question{}) // all that there are, as name=value
	if err != nil {
		return err
	}
	name, value, _ := strings.Cut(tag, "=")
	if value != "" && slices.Contains(tags, tag) {
		return nil
	}
	named := slices.ContainsFunc(tags, func(t string) bool { return strings.HasPrefix(t, name+"=") })
	hint := "no vehicle has a tag; they are given in vehicles.yaml, as tags: {depot: north}"
	if near := source.Near(tag, tags); near != "" {
		hint = "did you mean " + near + "?"
	} else if len(tags) > 0 {
		hint = "the register has " + strings.Join(some(tags, name, named), ", ")
	}
	return cli.Hint(fmt.Errorf("no vehicle has the tag %s", tag), hint)
}

// some are the tags of that name if there are any, else all, at most ten.
func some(tags []string, name string, named bool) []string {
	if named {
		tags = slices.DeleteFunc(tags, func(t string) bool { return !strings.HasPrefix(t, name+"=") })
	}
	return tags[:min(len(tags), 10)]
}
