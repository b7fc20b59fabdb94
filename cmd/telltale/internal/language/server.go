// Package language is `telltale language-server`: it tells an editor, over the Language
// Server Protocol, what the check says of a folder's files while they are typed, what a
// word or a key means, and what may stand at a place. What the check says comes from
// whoever starts it; the protocol's framing and calls are the jrpc2 module's.
package language

import (
	"context"
	"io"
	"path/filepath"
	"sync"
	"sync/atomic"

	"github.com/creachadair/jrpc2"
	"github.com/creachadair/jrpc2/handler"
)

// Run serves an editor until it asks for the end, or closes r. It reports whether the
// editor took its leave in order.
func Run(ctx context.Context, r io.Reader, w io.WriteCloser, version string, check Check) (inOrder bool) {
	s := &server{check: check, version: version, open: map[string]document{}, checked: map[string]Checked{},
		dirty: map[string]bool{}, work: make(chan struct{}, 1), ended: make(chan struct{}), left: make(chan struct{}, 1)}
	s.rpc = jrpc2.NewServer(handler.Map{
		"initialize":              handler.New(s.initialize),
		"initialized":             handler.New(func(context.Context, *struct{}) error { return nil }),
		"shutdown":                handler.New(s.shutdown),
		"exit":                    handler.New(s.exit),
		"textDocument/didOpen":    handler.New(s.didOpen),
		"textDocument/didChange":  handler.New(s.didChange),
		"textDocument/didClose":   handler.New(s.didClose),
		"textDocument/didSave":    handler.New(s.didSave),
		"textDocument/hover":      handler.New(s.hover),
		"textDocument/completion": handler.New(s.complete),
		"textDocument/codeAction": handler.New(s.actions),
	}, &jrpc2.ServerOptions{AllowPush: true, DisableBuiltin: true, Concurrency: 1})
	s.rpc.Start(frames(r, w))
	var checking sync.WaitGroup
	checking.Go(s.keepChecking)
	gone := make(chan struct{})
	go func() {
		_ = s.rpc.Wait() // that the editor is gone is no fault of ours
		close(gone)
	}()
	select {
	case <-gone:
	case <-s.left: // a read of the standard input may never come back
	case <-ctx.Done():
	}
	close(s.ended)
	checking.Wait()
	return s.leave.Load()
}

type server struct {
	rpc     *jrpc2.Server
	check   Check
	version string
	leave   atomic.Bool // the editor asked for the end

	mu      sync.Mutex
	open    map[string]document // by path
	checked map[string]Checked  // by folder
	dirty   map[string]bool     // folders to be checked

	work  chan struct{} // something is dirty
	ended chan struct{} // nobody is told any more
	left  chan struct{} // the editor said that it goes
}

func (s *server) initialize(context.Context, *struct{}) (initializeResult, error) {
	return initializeResult{
		Capabilities: capabilities{
			PositionEncoding: "utf-16", TextDocumentSync: fullSync, Hover: true,
			Completion: completionProvider{Triggers: []string{`"`, ".", "{", " ", "("}},
			CodeAction: codeActionProvider{Kinds: []string{"quickfix"}},
		},
		ServerInfo: serverInfo{Name: "telltale", Version: s.version},
	}, nil
}

// shutdown answers null, as the protocol wants it.
func (s *server) shutdown(context.Context, *struct{}) (any, error) {
	s.leave.Store(true)
	return nil, nil
}

func (s *server) exit(context.Context, *struct{}) error {
	select {
	case s.left <- struct{}{}:
	default:
	}
	return nil
}

func (s *server) didOpen(_ context.Context, p *opened) error {
	s.set(document{p.Document.URI, p.Document.Version, p.Document.Text})
	return nil
}

func (s *server) didChange(_ context.Context, p *changed) error {
	if n := len(p.Changes); n > 0 {
		s.set(document{p.Document.URI, p.Document.Version, p.Changes[n-1].Text})
	}
	return nil
}

func (s *server) didClose(_ context.Context, p *ofDocument) error {
	if path := pathOf(p.Document.URI); path != "" {
		s.mu.Lock()
		delete(s.open, path)
		s.mu.Unlock()
		s.look(path)
	}
	return nil
}

func (s *server) didSave(_ context.Context, p *ofDocument) error {
	if path := pathOf(p.Document.URI); path != "" {
		s.look(path)
	}
	return nil
}

func (s *server) set(d document) {
	path := pathOf(d.uri)
	if path == "" {
		return // not yet saved anywhere: it belongs to no folder
	}
	s.mu.Lock()
	s.open[path] = d
	s.mu.Unlock()
	s.look(path)
}

// look has the folder of a file checked.
func (s *server) look(path string) {
	s.mu.Lock()
	s.dirty[folderOf(path)] = true
	s.mu.Unlock()
	select {
	case s.work <- struct{}{}:
	default: // it is to look already
	}
}

// folderOf is the fleet's folder of a file: the one above rules/, or its own.
func folderOf(path string) string {
	dir := filepath.Dir(path)
	if filepath.Base(dir) == "rules" {
		return filepath.Dir(dir)
	}
	return dir
}

// keepChecking checks the folders that changed, one after the other. What changes while
// one is checked is checked once, as it is by then.
func (s *server) keepChecking() {
	for {
		select {
		case <-s.ended:
			return
		case <-s.work:
		}
		for dir, open := s.next(); dir != ""; dir, open = s.next() {
			texts := map[string]string{}
			for path, d := range open {
				texts[path] = d.text
			}
			s.tell(dir, open, s.check(dir, texts))
		}
	}
}

// next is a folder to be checked, with its open documents; "" where there is none.
func (s *server) next() (dir string, open map[string]document) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for d := range s.dirty {
		if dir == "" || d < dir {
			dir = d
		}
	}
	delete(s.dirty, dir)
	open = map[string]document{}
	for path, d := range s.open {
		if folderOf(path) == dir {
			open[path] = d
		}
	}
	return dir, open
}
