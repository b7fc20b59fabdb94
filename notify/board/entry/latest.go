package entry

import (
	"sync"

	"telltale/engine/event"
)

// Latest keeps for a while what the latest forms entered, by the form's identity and whose
// it is: to find an entry in the log, all that was ever told of its vehicle is read. What is
// gone from here, as after a restart, is found there. The zero value is empty.
type Latest[T any] struct {
	mu    sync.Mutex
	all   map[event.ID]T
	order []event.ID // the oldest first
}

// mostLatest is of how many forms that is kept.
const mostLatest = 500

// Note keeps what a form entered.
func (l *Latest[T]) Note(form event.ID, of T) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.all == nil {
		l.all = map[event.ID]T{}
	}
	if _, known := l.all[form]; !known {
		l.order = append(l.order, form)
	}
	if l.all[form] = of; len(l.order) > mostLatest {
		delete(l.all, l.order[0])
		l.order = l.order[1:]
	}
}

// Of is what a form entered, if that is still kept.
func (l *Latest[T]) Of(form event.ID) (T, bool) {
	l.mu.Lock()
	defer l.mu.Unlock()
	of, ok := l.all[form]
	return of, ok
}

// notice is an entry and what followed of it. The record says later how things stand, and
// not what an entry changed.
type notice struct {
	done
	vehicle string
	lines   []string
}
