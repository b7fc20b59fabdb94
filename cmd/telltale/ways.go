package main

import (
	"context"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"path/filepath"

	"github.com/nats-io/nats.go"
	"gopkg.in/yaml.v3"

	"telltale/notify"
	"telltale/notify/calendar"
	"telltale/notify/delivery"
	"telltale/notify/mail"
	"telltale/notify/people"
	"telltale/notify/webhook"
	"telltale/rules/source"
)

// letters write messages as mails from the address.
func letters(from string) mail.Composer { return mail.Composer{From: from, Calendar: calendar.Write} }

// ways are how deliveries go out.
func (a *app) ways(ctx context.Context, wrote wroteMail) map[string]notify.Way {
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
	return map[string]notify.Way{
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

func readWebhooks(s *source.Document, n *yaml.Node) (allow []netip.Prefix) {
	for _, r := range s.Items(s.Mapping(n, "webhooks", "allow")["allow"], "allow") {
		text, ok := s.Given(r, "allow")
		p, err := netip.ParsePrefix(text)
		switch {
		case !ok:
		case err != nil || p.Masked() != p:
			s.Fault(r, "write it like 10.20.0.0/16", "allow %q is not a range of addresses", text)
		default:
			allow = append(allow, p)
		}
	}
	return allow
}
