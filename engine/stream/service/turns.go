package service

import (
	"runtime"
	"time"
)

// aTurn is how long a question may hold a partition while an event waits. Who waits for a
// lock for more than a millisecond has it next (see sync.Mutex), so an event waits for two
// turns at most.
const aTurn = 4 * time.Millisecond

// each visits vehicles one after the other, and lets the lock go in between: an event that
// has come meanwhile is folded first. Each vehicle is as it stands when it is visited, so a
// list of all is of one moment only where nothing came. mu must be held.
func (w *worker) each(homes []string, visit func(home string)) {
	began := time.Now()
	for _, home := range homes {
		began = w.breathe(began)
		visit(home)
	}
}

// breathe lets the lock go where it was held for a turn, and says when the one that is under
// way began.
func (w *worker) breathe(began time.Time) time.Time {
	if time.Since(began) < aTurn {
		return began
	}
	w.mu.Unlock()
	runtime.Gosched()
	w.mu.Lock()
	return time.Now()
}

// readAll reads the records that nothing was asked of since the start. mu must be held.
func (w *worker) readAll() {
	for began := time.Now(); w.fold.Unpack(unpackMost); {
		if w.fold.Err() != nil {
			return
		}
		began = w.breathe(began)
	}
}
