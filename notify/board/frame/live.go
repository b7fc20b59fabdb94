package frame

import (
	"fmt"
	"net/http"
	"sync"
	"time"

	"github.com/nats-io/nats.go"

	"telltale/engine/alarm"
	"telltale/engine/stream/wire"
	"telltale/rules/english"
)

// changesPath is where a page's script hears that the page is another by now.
const changesPath = "/changes"

const (
	// mostListening bounds the pages that hear of changes; more go without.
	mostListening = 500
	// mostListeningEach bounds those of one person, or of one address.
	mostListeningEach = 20
	// gathered is how long changes are put together: a page is fetched once for all.
	gathered = time.Second
	// breath is how often a quiet connection carries something, so that nothing between
	// takes it for dead.
	breath = 20 * time.Second
	// asked is after how many breaths it is asked again who listens.
	asked = 3
	// mostNamed is of how many vehicles at once a page asks whether they may be seen; that
	// more changed says nothing of any.
	mostNamed = 1000
	// taken is how long a page may take to take what is sent: one that does not read is let go.
	taken = 30 * time.Second
)

// Live tells open pages of which vehicles something was said. The zero Live tells nothing.
type Live struct {
	sub *nats.Subscription

	mu    sync.Mutex
	ended bool
	pages map[*listening]struct{}
	each  map[string]int // how many of whom
}

// listening is one page that hears of changes.
type listening struct {
	of     string          // a vehicle, or "*" for any
	payer  string          // by whom it is bounded; "" for nobody
	names  map[string]bool // the vehicles that changed, under the mutex of Live
	wake   chan struct{}
	closed chan struct{}
}

// Follow hears what the partitions say, on whatever replica they are folded.
func Follow(nc *nats.Conn) (*Live, error) {
	l := &Live{pages: map[*listening]struct{}{}, each: map[string]int{}}
	var err error
	l.sub, err = nc.Subscribe("telltale.alarm.>", func(m *nats.Msg) {
		said, err := wire.DecodeMessage(m.Subject, 0, m.Data)
		if err != nil {
			return // whoever folds it says so
		}
		for _, o := range said.Outputs {
			if o.Transition != nil {
				l.changed(o.Transition)
			}
		}
	})
	if err != nil {
		return nil, fmt.Errorf("following what is said, for the board: %w", err)
	}
	return l, nil
}

// Close ends what is told.
func (l *Live) Close() {
	if l.sub != nil {
		_ = l.sub.Unsubscribe() // the connection may be gone already
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.ended = true
	for p := range l.pages {
		close(p.closed)
	}
	l.pages = nil
}

// changed wakes the pages that a transition makes others.
func (l *Live) changed(t *alarm.Transition) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for p := range l.pages {
		if p.of == "*" || p.of == t.Vehicle || p.of == t.Home() {
			if len(p.names) < mostNamed {
				p.names[t.Vehicle] = true
			}
			select {
			case p.wake <- struct{}{}:
			default: // it is awake
			}
		}
	}
}

// listen has a page hear of changes; nil where no more can.
func (l *Live) listen(of, payer string) *listening {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.ended || len(l.pages) >= mostListening || l.each[payer] >= mostListeningEach {
		return nil
	}
	if payer != "" {
		l.each[payer]++
	}
	p := &listening{of: of, payer: payer, names: map[string]bool{}, wake: make(chan struct{}, 1), closed: make(chan struct{})}
	l.pages[p] = struct{}{}
	return p
}

func (l *Live) leave(p *listening) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.pages, p)
	if p.payer == "" {
		return
	}
	if l.each[p.payer]--; l.each[p.payer] == 0 {
		delete(l.each, p.payer)
	}
}

// seen reports whether one of the vehicles that changed since this was asked may be seen.
func (l *Live) seen(p *listening, e ear) bool {
	l.mu.Lock()
	names := p.names
	p.names = map[string]bool{}
	l.mu.Unlock()
	if e.sees == nil || len(names) >= mostNamed {
		return true
	}
	for name := range names {
		if e.sees(name) {
			return true
		}
	}
	return false
}

// serve sends server-sent events (WHATWG HTML, 9.2): "changed" each time that the page is
// another by now.
func (l *Live) serve(w http.ResponseWriter, r *http.Request, e ear) {
	p := l.listen(english.OneLine(r.FormValue("of")), e.payer)
	if p == nil {
		w.Header().Set("Retry-After", "60")
		http.Error(w, wordTooMany, http.StatusServiceUnavailable)
		return
	}
	defer l.leave(p)
	c := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	send := func(text string) bool {
		_ = c.SetWriteDeadline(time.Now().Add(taken)) // for this alone: it lasts as long as the page
		_, err := fmt.Fprint(w, text)
		return err == nil && c.Flush() == nil
	}
	if !send("retry: 5000\n\n") {
		return
	}
	alive := time.NewTicker(breath)
	defer alive.Stop()
	for breaths := 0; ; {
		text := ": still here\n\n"
		select {
		case <-r.Context().Done():
			return
		case <-p.closed:
			return
		case <-alive.C:
			if breaths++; e.still != nil && breaths%asked == 0 && !e.still() {
				return
			}
		case <-p.wake:
			select { // more may follow at once
			case <-time.After(gathered):
			case <-r.Context().Done():
				return
			case <-p.closed:
				return
			}
			select {
			case <-p.wake:
			default:
			}
			if !l.seen(p, e) {
				continue
			}
			text = "event: changed\ndata: \n\n"
		}
		if !send(text) {
			return
		}
	}
}
