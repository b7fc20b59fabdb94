package main

import (
	"context"
	"encoding/json"
	"fmt"

	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream/service"
	"telltale/notify"
)

// leaving is who wants no more of which kind, or with Back again.
type leaving struct {
	Person string      `json:"person"`
	Kind   notify.Kind `json:"kind"`
	Back   bool        `json:"back,omitempty"`
}

// askLeave has whoever tells people note it, which may be another replica than the
// one whose page was opened.
func (a *app) askLeave(ctx context.Context, person string, kind notify.Kind, back bool) error {
	_, err := service.List[leaving](ctx, a.nc, "leave", leaving{person, kind, back})
	return err
}

// takeLeave notes in the notifier's checkpoint who wants no more of what.
func (a *app) takeLeave(ctx context.Context, r micro.Request) error {
	var l leaving
	if err := json.Unmarshal(r.Data(), &l); err != nil {
		return fmt.Errorf("reading who leaves: %w", err)
	}
	at, err := a.now(ctx)
	if err != nil {
		return err
	}
	if err := a.notify.Leave(ctx, l.Person, l.Kind, l.Back, at); err != nil {
		return err
	}
	return service.Reply(r, []leaving{l})
}

// answerLeft lists who asked for no more.
func (a *app) answerLeft(ctx context.Context, r micro.Request) error {
	list, err := notify.WhoLeft(ctx, a.log.Deliveries())
	if err != nil {
		return err
	}
	return service.Reply(r, list)
}

func leftLine(l notify.Left) string {
	return fmt.Sprintf("%s wants no %s since %s", l.Person, l.Kind, l.Since.Format("2006-01-02 15:04"))
}
