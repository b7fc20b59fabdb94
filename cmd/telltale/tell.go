package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/sample"
	"telltale/engine/stream"
	"telltale/engine/stream/entry"
	"telltale/engine/stream/service"
	"telltale/engine/stream/wire"
	"telltale/notify"
	"telltale/notify/answers"
	"telltale/notify/board/limits"
	"telltale/notify/calendar"
	"telltale/notify/delivery"
	"telltale/notify/mail"
	"telltale/notify/people"
	telling "telltale/notify/service"
	"telltale/notify/webhook"
	"telltale/rules/unit"
)

// fleetLog is the log of what the partitions say, and what they answer of vehicles, as
// telling asks it.
type fleetLog struct {
	*stream.Log
	*service.Service
}

// Outputs implements telling.Log.
func (s fleetLog) Outputs(ctx context.Context, from uint64, do func(uint64, notify.Cause, []engine.Output) error) error {
	return s.Log.Outputs(ctx, from, func(m wire.Message) error { return do(m.Seq, cause(m), m.Outputs) })
}

// Ticks implements telling.Log.
func (s fleetLog) Ticks(ctx context.Context, do func(time.Time) error) error {
	return s.Log.Ticks(ctx, func(t time.Time) error {
		if err := s.CaughtUp(ctx); err != nil {
			return err
		}
		return do(t)
	})
}

// Vehicle implements telling.Fleet. Who hears of it hangs on its tags and people, so a
// partition that is on its way from one replica to another is waited for; one that
// nobody folds for long is looked up in the log of events.
func (s fleetLog) Vehicle(ctx context.Context, id string) (people.Vehicle, error) {
	for tries := 0; ctx.Err() == nil; tries++ {
		d, err := s.Registered(ctx, id)
		if err != nil && tries >= 5 {
			d, err = s.LastRegistration(ctx, id)
		}
		if err == nil {
			return notify.VehicleOf(id, d), nil
		}
	}
	return notify.VehicleOf(id, nil), ctx.Err()
}

// Verdicts implements telling.Fleet.
func (s fleetLog) Verdicts(ctx context.Context, vehicle, component string, reads unit.System) (list []sample.Verdict, err error) {
	for tries := 0; ctx.Err() == nil && tries < 5; tries++ {
		if list, err = service.Samples.Of(ctx, s.Service, service.Question{Vehicle: vehicle, Component: component, Units: reads.Names()}); err == nil {
			return list, nil
		}
	}
	return nil, err
}

// OutOfService implements telling.Fleet. All partitions are waited for, since people are
// not to be reminded of what stands still.
func (s fleetLog) OutOfService(ctx context.Context) (map[string]bool, error) {
	for ctx.Err() == nil {
		if all, err := service.Alarms.Of(ctx, s.Service, service.Question{}); err == nil {
			return notify.OutOfService(all), nil
		}
	}
	return nil, ctx.Err()
}

// AlarmsOf implements answers.Fleet.
func (s fleetLog) AlarmsOf(ctx context.Context, vehicle string) ([]alarm.Listed, error) {
	return service.Alarms.Of(ctx, s.Service, service.Question{Vehicle: vehicle})
}

// Due implements answers.Fleet.
func (s fleetLog) Due(ctx context.Context, q due.Query) ([]due.Item, error) {
	return service.Due.Of(ctx, s.Service, service.Question{Vehicle: q.Vehicle, Ahead: q.Ahead})
}

// cause names what made a message: the event's place in the log, the same however
// often it is folded.
func cause(m wire.Message) notify.Cause {
	key := fmt.Sprintf("%d-%d-%d", m.Epoch, m.Event, m.Partition)
	if m.Reconciled {
		key += fmt.Sprintf("-reconciled-%d", m.N)
	}
	return notify.CauseOf(key, m.Partition, m.Outputs)
}

// letters write messages as mails from the address.
func letters(from string) mail.Composer { return mail.Composer{From: from, Calendar: calendar.Write} }

// ways are how deliveries go out.
func (a *app) ways(ctx context.Context, wrote wroteMail) map[string]telling.Way {
	set := a.fleet.set
	var post delivery.Sender = &mail.Folder{Dir: filepath.Join(a.fleet.dir, "mail"), Wrote: wrote}
	if set.Mail.Host != "" {
		post = &mail.SMTP{Config: set.Mail}
	}
	hooks := &webhook.Sender{Allow: set.Webhooks, Secret: a.secret}
	// An endpoint that wanted no more before a restart wants none after it.
	if list, err := delivery.All(ctx, a.log.Deliveries()); err == nil {
		for _, d := range list {
			if d.Gone {
				hooks.Disable(d.To)
			}
		}
	}
	return map[string]telling.Way{
		people.Mail: {Way: delivery.Way{Sender: post}, Compose: letters(set.Mail.From).Compose},
		"webhook":   {Way: hooks.Way()},
		"file":      {Way: delivery.Way{Sender: files{a.fleet.dir}}},
		"nats":      {Way: delivery.Way{Sender: subjects{a.nc}}},
	}
}

// secret reads the file with which a person's webhook is signed; a relative path
// begins in the fleet's folder.
func (a *app) secret(person string) (string, error) {
	p := a.notify.Directory().Person(person)
	if p == nil || p.SecretFile == "" {
		return "", errors.New("people.yaml names no secret file any more")
	}
	text, err := os.ReadFile(inside(a.fleet.dir, p.SecretFile))
	return string(text), err
}

func inside(dir, path string) string {
	if filepath.IsAbs(path) {
		return path
	}
	return filepath.Join(dir, path)
}

// files writes each delivery as a JSON file into the folder it is for.
type files struct{ dir string }

func (f files) Send(ctx context.Context, d delivery.Delivery) error {
	return (&mail.Folder{Dir: inside(f.dir, d.To), Ext: ".json"}).Send(ctx, d)
}

// subjects publishes deliveries on NATS, under their identity.
type subjects struct{ nc *nats.Conn }

func (s subjects) Send(ctx context.Context, d delivery.Delivery) error {
	m := &nats.Msg{Subject: d.To, Data: d.Raw, Header: nats.Header{}}
	m.Header.Set("Content-Type", "application/cloudevents+json; charset=utf-8")
	m.Header.Set(nats.MsgIdHdr, d.MessageID)
	err := s.nc.PublishMsg(m)
	if err == nil {
		err = s.nc.FlushWithContext(ctx)
	}
	if err != nil {
		return fmt.Errorf("publishing on %s: %w", d.To, err)
	}
	return nil
}

// startAnswers has the mails carry links and serves the pages behind them.
func (a *app) startAnswers() error {
	set := a.fleet.set.Answers
	if set.Listen == "" {
		return nil
	}
	key, err := answers.LoadKey(inside(a.fleet.dir, set.KeyFile))
	if err != nil {
		return err
	}
	a.notify.Notifier.Answer = func(person string, t *alarm.Transition) string { return set.URL + key.Answer(person, t) }
	a.notify.Notifier.Unsubscribe = func(person string, kind notify.Kind, at time.Time) string {
		return set.URL + key.Leave(person, kind, at)
	}
	l, err := net.Listen("tcp", set.Listen)
	if err != nil {
		return fmt.Errorf("serving the answers: %w", err)
	}
	a.logger.Info("serving answers", "address", l.Addr().String())
	a.pages = a.fleet.set.Serve(l, set.Listen, "the answers", &answers.Pages{
		Key: key, Now: a.now, Log: a.logger,
		Fleet:  fleetLog{a.log, a.svc},
		Person: func(id string) *people.Person { return a.notify.Directory().Person(id) },
		Enter:  entry.Desk{Service: a.svc, Log: a.log}.Enter,
		Leave:  a.askLeave, Audit: a.trail.Log, Proxies: a.fleet.set.Proxies, Limits: limits.NewLinks(),
	}, a.pair, a.logger)
	return nil
}
