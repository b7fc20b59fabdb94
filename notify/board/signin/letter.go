package signin

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"telltale/engine/stream/service"
	"telltale/engine/stream/sessions"
	"telltale/notify"
	"telltale/notify/board/frame"
	"telltale/notify/delivery"
	"telltale/notify/mail"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/rules/english"
)

// send has mails sent, by whichever replica sends what people are told. They go into the
// queue like all others, and past what holds others back: whoever asked waits for it.
func (d *Door) send(ctx context.Context, posts []post, device string, now time.Time) {
	const patience = 30 * time.Second
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	for _, p := range posts {
		if err := d.sendOne(ctx, p, device, now); err != nil {
			d.Logger.Error("sending a mail to sign in", "person", p.to.ID, "error", err)
		}
	}
}

func (d *Door) sendOne(ctx context.Context, p post, device string, now time.Time) error {
	m := d.write(p, device, now)
	id, raw, err := mail.Composer{From: d.From}.Compose(m)
	if err != nil {
		return err
	}
	body, err := json.Marshal(delivery.Delivery{
		Key: m.Key, Cause: m.Cause, Person: m.Person, Way: m.Way, To: m.To, Subject: m.Subject, MessageID: id, Time: m.Time,
		Created: now.UTC().Round(0), State: delivery.Waiting, Raw: raw, Until: now.Add(serves).UTC(),
	})
	if err != nil {
		return err
	}
	if _, err := d.Log.Deliveries().Create(ctx, m.Key, body); err != nil {
		return err
	}
	if _, err := service.List[string](ctx, d.Log.Conn, "retry", m.Key); err != nil && !errors.Is(err, service.ErrNoService) {
		return fmt.Errorf("it waits until who sends looks for it: %w", err)
	}
	return nil // where nobody sends now, whoever begins to looks for what waits
}

// write writes the mail: one link, the code, and nothing that tells who reads it.
func (d *Door) write(p post, device string, now time.Time) notify.Message {
	pg := page.Page{
		Title: "Sign in to Telltale",
		Lead: fmt.Sprintf("Somebody asked for this with %s on %s, at %s. If it was not you, do nothing: nobody gets in without this mail.",
			device, p.to.Day(now), now.In(p.to.Zone).Format("15:04")),
		Blocks: []page.Block{
			{
				Heading: "On the device that asked",
				Lines:   []page.Line{{Text: "Open the link within 10 minutes, in the same browser, and press the button there. It works once."}},
				Link:    d.URL + frame.Path("sign-in", p.link), LinkTo: "Sign in",
			},
			{
				Heading: "If you read this on another device",
				Strong:  p.code[:codeDigits/2] + " " + p.code[codeDigits/2:],
				Lines:   []page.Line{{Text: "Type this code into the page that asked. Tell it to nobody, whoever asks."}},
			},
		},
		Notes:  []string{"You get this because your address is written in people.yaml. The link and the code are of no use after 10 minutes."},
		Letter: p.to.Spelling == english.American,
	}
	m := notify.Message{
		Key: "sign-in-" + sessions.Hash(sessions.Hash(p.link))[:20], Cause: "signing in", Person: p.to.ID, Name: p.to.Name, Way: people.Mail,
		To: p.to.To[people.Mail], Subject: pg.Title, Time: now,
	}
	var err error
	if m.Text, m.HTML, err = pg.Write(); err != nil {
		d.Logger.Error("writing a mail to sign in", "error", err) // the text stands in for it
	}
	return m
}
