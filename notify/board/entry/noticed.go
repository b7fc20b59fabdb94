package entry

import (
	"sync"

	"telltale/engine/event"
)

// noticed keeps for a while what the latest forms entered and what followed of it. The
// record says later how things stand, and not what an entry changed; and to find an entry in
// the log, all that was ever told of its vehicle is read. What is gone from here, as after a
// restart, is found there and told by how things stand.
type noticed struct {
	mu    sync.Mutex
	all   map[event.ID]notice // by the form's identity, and whose it is
	order []event.ID          // the oldest first
}

// notice is an entry and what followed of it.
type notice struct {
	done
	vehicle string
	lines   []string
}

// mostNoticed is how many entries are kept.
const mostNoticed = 500

func (n *noticed) note(form event.ID, of notice) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.all == nil {
		n.all = map[event.ID]notice{}
	}
	if _, known := n.all[form]; !known {
		n.order = append(n.order, form)
	}
	n.all[form] = of
	if len(n.order) > mostNoticed {
		delete(n.all, n.order[0])
		n.order = n.order[1:]
	}
}

func (n *noticed) of(form event.ID) (notice, bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	of, ok := n.all[form]
	return of, ok
}
