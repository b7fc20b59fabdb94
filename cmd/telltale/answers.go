package main

import (
	"net"
	"net/url"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine/alarm"
	"telltale/notify"
	"telltale/notify/board"
	"telltale/notify/people"
	"telltale/rules/source"
)

// answering says whether and how mails carry links to be answered by.
type answering struct {
	// Listen is where the pages are served, host:port; "" for no links at all.
	Listen string
	// URL is how people reach them; http://Listen where empty.
	URL string
	// KeyFile holds the key that signs the links, 32 bytes in hex; made if missing.
	KeyFile string
}

func readAnswers(s *source.Document, n *yaml.Node) answering {
	m := s.Mapping(n, "answers", "listen", "url", "key file")
	a := answering{Listen: "127.0.0.1:8080", KeyFile: "answers.key"}
	if l := m["listen"]; l != nil {
		a.Listen = s.Text(l, "listen")
	}
	if _, _, err := net.SplitHostPort(a.Listen); err != nil {
		s.Fault(n, "write it like 127.0.0.1:8080", "listen %q is not an address to listen on", a.Listen)
	}
	a.URL = "http://" + a.Listen
	if u := m["url"]; u != nil {
		a.URL = strings.TrimSuffix(s.Text(u, "url"), "/")
		if at, err := url.Parse(a.URL); err != nil || at.Host == "" || at.Scheme != "https" && at.Scheme != "http" {
			s.Fault(u, "write it like https://fleet.example.org", "url %q is not an address on the web", a.URL)
		}
	}
	if k := m["key file"]; k != nil {
		a.KeyFile = s.Text(k, "key file")
	}
	return a
}

// startAnswers has the mails carry links and serves the pages behind them.
func (a *app) startAnswers() error {
	set := a.fleet.set.Answers
	if set.Listen == "" {
		return nil
	}
	key, err := board.LoadKey(inside(a.fleet.dir, set.KeyFile))
	if err != nil {
		return err
	}
	a.notify.Notifier.Answer = func(person string, t *alarm.Transition) string { return set.URL + key.Answer(person, t) }
	a.notify.Notifier.Unsubscribe = func(person string, kind notify.Kind, at time.Time) string {
		return set.URL + key.Leave(person, kind, at)
	}
	a.pages, err = a.board(key).Listen(set.Listen)
	return err
}

func (a *app) board(key board.Key) *board.Board {
	return &board.Board{
		Key: key, Now: a.now, Log: a.logger,
		Fleet:   fleetLog{a.log, a.svc},
		Person:  func(id string) *people.Person { return a.notify.Directory().Person(id) },
		Publish: a.log.Publish,
		Leave:   a.askLeave,
	}
}
