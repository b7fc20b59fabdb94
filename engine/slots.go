package engine

import (
	"container/heap"
	"slices"
)

// slots orders vehicles by the next moment at which a tick can change something,
// so that a tick costs in proportion to what changes and not to the fleet. A
// vehicle's turn may come before its record's Next, and is then put off; never after.
type slots []*slot

type slot struct {
	next    int64 // Unix seconds
	pos     int   // in slots; -1 while it is out of them
	vehicle string
}

// schedule sees that the vehicle has its turn in time.
func (q *slots) schedule(r *vehicle) {
	if r.slot == nil {
		r.slot = &slot{vehicle: r.Vehicle, pos: -1}
	}
	q.put(r.slot, r.Next)
}

// put sees that a turn comes no later than next.
func (q *slots) put(t *slot, next int64) {
	switch {
	case t.pos < 0:
		t.next = next
		heap.Push(q, t)
	case next < t.next:
		t.next = next
		heap.Fix(q, t.pos)
	}
}

func (q *slots) forget(r *vehicle) {
	if r.slot != nil && r.slot.pos >= 0 {
		heap.Remove(q, r.slot.pos)
	}
}

// upTo takes out the vehicles whose turn has come, in order of name.
func (q *slots) upTo(now int64, nextOf func(*slot) int64) []string {
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
func (q slots) Len() int { return len(q) }

func (q slots) Less(i, j int) bool { return q[i].next < q[j].next }

func (q slots) Swap(i, j int) {
	q[i], q[j] = q[j], q[i]
	q[i].pos, q[j].pos = i, j
}

// Push adds a turn at the end.
func (q *slots) Push(x any) {
	t := x.(*slot)
	t.pos = len(*q)
	*q = append(*q, t)
}

// Pop takes the last turn off.
func (q *slots) Pop() any {
	last := len(*q) - 1
	t := (*q)[last]
	(*q)[last] = nil
	*q, t.pos = (*q)[:last], -1
	return t
}
