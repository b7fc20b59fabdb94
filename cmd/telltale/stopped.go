package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"path/filepath"

	"github.com/nats-io/nats.go"

	"telltale/cmd/telltale/internal/cli"
	"telltale/engine/stream"
	"telltale/engine/stream/server"
	"telltale/engine/stream/service"
	"telltale/notify"
)

// openStopped runs a question on the files of a folder whose service is stopped: what it
// holds is folded as at its next start, and answers the question. Nobody is told anything,
// no clock runs, and the folder's rules and register are not read.
func openStopped(ctx context.Context, dir string, do func(context.Context, *nats.Conn) error) error {
	return withStopped(ctx, dir, func(ctx context.Context, log *stream.Log, set *settings) error {
		svc, err := service.Start(context.WithoutCancel(ctx), log, service.Config{Program: program(), ClockFollowsEvents: set.Clock == "events", Reads: set.Reads, Sees: notify.Sees})
		if err != nil {
			return err
		}
		answers, err := svc.Respond()
		if err != nil {
			return errors.Join(err, svc.Stop())
		}
		if err = svc.CaughtUp(ctx); err == nil {
			err = do(ctx, log.Conn)
		}
		return errors.Join(err, answers.Stop(), svc.Stop())
	})
}

// withStopped opens the log of a folder whose service is stopped, for nobody else, with
// the folder's settings.
func withStopped(ctx context.Context, dir string, do func(context.Context, *stream.Log, *settings) error) error {
	set, err := loadSettings(dir)
	if err != nil {
		return cli.Exit(2, err)
	}
	if !cli.Exists(filepath.Join(dir, "nats")) {
		return cli.Hint(cli.NoneRuns(fmt.Errorf("no service has run in %s yet", dir)), "telltale serve --dir "+dir)
	}
	quiet := slog.New(slog.DiscardHandler)
	srv, err := server.Embed(ctx, server.Config{Dir: dir, Listen: "127.0.0.1:-1", Log: quiet, Closed: true})
	if err != nil {
		return (&app{fleet: &fleet{dir: dir}}).inTheWay(err)
	}
	log, err := stream.Open(ctx, srv.Conn(), stream.LogConfig{MaxBytes: int64(set.MaxMiB) << 20, Log: quiet})
	if err == nil {
		err = do(ctx, log, &set)
	}
	return errors.Join(err, srv.Close())
}
