package engine

import (
	"container/heap"
	"slices"
)

// turns orders vehicles by the next moment at which a tick can change something,
// so that a tick costs in proportion to what changes and not to the fleet. A
// vehicle's turn may come before its record's Next, and is then put off; never after.
type turns []*turn

type turn struct {
	next    int64 // Unix seconds
	pos     int   // in turns; -1 while it is out of them
	vehicle string
}

// schedule sees that the vehicle has its turn in time.
func (q *turns) schedule(r *vehicle) {
	if r.turn == nil {
		r.turn = &turn{vehicle: r.Vehicle, pos: -1}
	}
	q.put(r.turn, r.Next)
}

// put sees that a turn comes no later than next.
func (q *turns) put(t *turn, next int64) {
	switch {
	case t.pos < 0:
		t.next = next
		heap.Push(q, t)
	case next < t.next:
		t.next = next
		heap.Fix(q, t.pos)
	}
}

func (q *turns) forget(r *vehicle) {
	if r.turn != nil && r.turn.pos >= 0 {
		heap.Remove(q, r.turn.pos)
	}
}

// upTo takes out the vehicles whose turn has come, in order of name.
func (q *turns) upTo(now int64, nextOf func(*turn) int64) []string {
	var out []string
	for len(*q) > 0 && (*q)[0].next <= now {
		t := (*q)[0]
		if next := nextOf(t); next > now {
			t.next = next
			heap.Fix(q, 0)
			continue
		}
		heap.Pop(q)
		out = append(out, t.vehicle)
	}
	slices.Sort(out)
	return out
}

// Len, Less, Swap, Push and Pop are what container/heap asks for.
func (q turns) Len() int           { return len(q) }
func (q turns) Less(i, j int) bool { return q[i].next < q[j].next }
func (q turns) Swap(i, j int) {
	q[i], q[j] = q[j], q[i]
	q[i].pos, q[j].pos = i, j
}

// Push adds a turn at the end.
func (q *turns) Push(x any) {
	t := x.(*turn)
	t.pos = len(*q)
	*q = append(*q, t)
}

// Pop takes the last turn off.
func (q *turns) Pop() any {
	last := len(*q) - 1
	t := (*q)[last]
	(*q)[last] = nil
	*q, t.pos = (*q)[:last], -1
	return t
}
