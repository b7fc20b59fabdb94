package entry

import "sync"

// noticed keeps for a while what followed of the latest entries: the record says later how
// things stand, and not what an entry changed. What is gone from it, as after a restart,
// is told by how things stand.
type noticed struct {
	mu    sync.Mutex
	lines map[string][]string // by the identity of the form
	order []string            // the oldest first
}

// mostNoticed is how many entries are kept.
const mostNoticed = 500

func (n *noticed) note(form string, lines []string) {
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.lines == nil {
		n.lines = map[string][]string{}
	}
	if _, known := n.lines[form]; !known {
		n.order = append(n.order, form)
	}
	n.lines[form] = lines
	if len(n.order) > mostNoticed {
		delete(n.lines, n.order[0])
		n.order = n.order[1:]
	}
}

func (n *noticed) of(form string) ([]string, bool) {
	n.mu.Lock()
	defer n.mu.Unlock()
	lines, ok := n.lines[form]
	return lines, ok
}
