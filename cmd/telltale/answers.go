package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/http"
	"net/url"
	"os"
	"strings"
	"time"

	"gopkg.in/yaml.v3"

	"telltale/engine"
	"telltale/engine/intake"
	"telltale/engine/stream/service"
	"telltale/notify"
	"telltale/notify/board"
	"telltale/rules"
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

func readAnswers(s *rules.Sheet, n *yaml.Node) answering {
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

// How long a link can be answered by, and how long one that ends mails: those are
// kept for long before somebody has enough of them.
const (
	linkLife  = 60 * 24 * time.Hour
	leaveLife = 400 * 24 * time.Hour
)

// loadKey reads the key, or makes one.
func loadKey(path string) (board.Key, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		var fresh [32]byte
		_, _ = rand.Read(fresh[:]) // which does not fail
		text = []byte(hex.EncodeToString(fresh[:]) + "\n")
		err = os.WriteFile(path, text, 0o600)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the key of the answers: %w", err)
	}
	key, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(key) < 32 {
		return nil, fmt.Errorf("reading the key of the answers: %s does not hold 32 bytes in hex", path)
	}
	return key, nil
}

// startAnswers has the mails carry links and serves the pages behind them.
func (a *app) startAnswers(ctx context.Context) error {
	set := a.fleet.set.Answers
	if set.Listen == "" {
		return nil
	}
	key, err := loadKey(inside(a.fleet.dir, set.KeyFile))
	if err != nil {
		return err
	}
	a.notify.Answer = func(person string, t *engine.Transition) string {
		return set.URL + "/a/" + key.Token(board.Link{Person: person, Vehicle: t.Vehicle, Component: t.Component, Rule: t.Rule, Expires: t.Time.Add(linkLife).Unix()})
	}
	a.notify.Unsubscribe = func(person, kind string, at time.Time) string {
		return set.URL + "/u/" + key.Token(board.Link{Person: person, Kind: kind, Expires: at.Add(leaveLife).Unix()})
	}
	l, err := net.Listen("tcp", set.Listen)
	if err != nil {
		return fmt.Errorf("serving the answers: %w", err)
	}
	a.pages = &http.Server{Handler: a.board(key), ReadHeaderTimeout: 10 * time.Second, ReadTimeout: 30 * time.Second,
		WriteTimeout: 30 * time.Second, IdleTimeout: time.Minute, MaxHeaderBytes: 32 << 10}
	a.logger.Info("serving answers", "address", l.Addr().String())
	go func() {
		if err := a.pages.Serve(l); !errors.Is(err, http.ErrServerClosed) {
			a.logger.Error("serving the answers", "error", err)
		}
	}()
	return nil
}

func (a *app) board(key board.Key) *board.Board {
	return &board.Board{
		Key: key, Now: a.now, Log: a.logger,
		Vehicle: func(id string) *engine.VehicleData {
			d, err := a.svc.Registered(context.Background(), id)
			if err != nil {
				a.logger.Warn("answering a link", "vehicle", id, "error", err)
			}
			return d
		},
		Tasks:  a.tasksOf,
		Person: func(id string) *notify.Person { return a.notify.Directory().Person(id) },
		Find: func(l board.Link) (engine.Standing, bool) {
			all, err := service.Alarms.Of(context.Background(), a.svc, service.Question{Vehicle: l.Vehicle})
			if err != nil {
				a.logger.Warn("answering a link", "vehicle", l.Vehicle, "error", err)
			}
			for _, s := range all {
				if s.Component == l.Component && s.Rule == l.Rule && s.To != "normal" {
					return s, true
				}
			}
			return engine.Standing{}, false
		},
		Publish: func(ctx context.Context, body []byte) error {
			ev, err := intake.Decode(body)
			if err != nil {
				return fmt.Errorf("an answer of our own: %w", err)
			}
			return a.log.Publish(ctx, ev)
		},
		Leave: a.askLeave,
	}
}

// tasksOf are the tasks that apply to what a link is about, by what is due first.
func (a *app) tasksOf(l board.Link) (out []board.Task) {
	list, err := service.Due.Of(context.Background(), a.svc, service.Question{Vehicle: l.Vehicle, Ahead: 3660})
	if err != nil {
		a.logger.Warn("answering a link", "vehicle", l.Vehicle, "error", err)
	}
	for _, d := range list {
		if d.Component == "" || d.Component == l.Component {
			out = append(out, board.Task{Name: d.Task, Title: cmp.Or(d.Title, d.Task)})
		}
	}
	return out
}
