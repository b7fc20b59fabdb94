package meter

import (
	"math"
	"slices"
)

// Back is where the readings of an instrument go back. It may have been replaced, and
// nobody said so; the lower readings may be wrong, or the higher ones. Readings cannot
// tell which, however many there are: what comes after stays in doubt until a person
// says, and the higher ones, on which the work so far rests, are kept.
//
// It is open as long as that is so. It is not where a later reading fits the higher ones,
// or where a single higher reading stands between others that all fit: that one
// was wrong. Less than 100 km or 10 h is no going back at all.
type Back struct {
	High int // the last higher reading before
	Low  int // the first lower one
	Open bool
}

// lower reports whether b lies under a by more than is read off wrong or made up for at
// once: nobody's due point hangs on that. Common practice, no source.
func (k Kind) lower(b, a Reading) bool {
	if k == Hours {
		return a.Value-b.Value >= 10*3600
	}
	return a.Value-b.Value >= 100_000
}

// backs finds where the readings go back, and takes the word from lower ones that
// outvoted higher ones. Nodes are the readings with skip values before them.
func (s segment) backs(nodes []Reading, accepted []bool, skip int) []Back {
	g := goingBack{s.kind, nodes, accepted, skip, skip + len(s.readings)}
	if over := g.overtaken(); len(over) > 1 || len(over) == 1 && slices.Index(accepted, true) > over[0] {
		if low := g.firstUnder(over); g.keepHigher(over, low) {
			return append([]Back{{High: g.highBefore(low) - skip, Low: low - skip, Open: true}}, g.closed(low)...)
		}
	}
	low := g.trailing()
	out := g.closed(low)
	if low >= 0 {
		out = append([]Back{{High: g.highBefore(low) - skip, Low: low - skip, Open: true}}, out...)
	}
	return out
}

// goingBack looks at the nodes of one instrument, of which those from begin to before
// end are readings.
type goingBack struct {
	kind       Kind
	nodes      []Reading
	accepted   []bool
	begin, end int
}

// overtaken are the readings that are disputed for lower ones after them alone.
func (g *goingBack) overtaken() (out []int) {
	for i := g.begin; i < g.end; i++ {
		if g.accepted[i] || !g.kind.valid(g.nodes[i].Value) {
			continue
		}
		before, _ := neighbours(g.nodes, g.accepted, i)
		if g.underAfter(i) >= 0 && (before == nil || g.kind.follows(*before, g.nodes[i])) {
			out = append(out, i)
		}
	}
	return out
}

// underAfter is the first accepted reading after i that is lower, or -1.
func (g *goingBack) underAfter(i int) int {
	for k := i + 1; k < g.end; k++ {
		if g.accepted[k] && g.kind.lower(g.nodes[k], g.nodes[i]) {
			return k
		}
	}
	return -1
}

// firstUnder is the first accepted reading that is lower than one of those before it.
func (g *goingBack) firstUnder(over []int) int {
	first := g.end
	for _, i := range over {
		first = min(first, g.underAfter(i))
	}
	return first
}

// keepHigher votes again without the lower readings from low on. It changes nothing, and
// is false, where no higher one is accepted for it.
func (g *goingBack) keepHigher(over []int, low int) bool {
	nodes, high := slices.Clone(g.nodes), g.nodes[over[0]]
	for _, i := range over {
		if i < low && g.nodes[i].Value > high.Value {
			high = g.nodes[i]
		}
	}
	refuted := g.refuted(low, high)
	for k := low; k < g.end; k++ {
		if g.accepted[k] && k < refuted || g.kind.lower(g.nodes[k], high) {
			nodes[k].Value = math.NaN()
		}
	}
	before := slices.Clone(g.accepted)
	copy(g.accepted, longest(nodes, g.kind, nil))
	if g.highBefore(low) < 0 {
		copy(g.accepted, before)
		return false
	}
	return true
}

// refuted is the first reading from low on that fits the higher one and for which the
// lower ones have no room; the end where there is none. What comes after it does not speak
// for the lower ones, though it would fit them, too.
func (g *goingBack) refuted(low int, high Reading) int {
	for k := low; k < g.end; k++ {
		if !g.accepted[k] && g.kind.valid(g.nodes[k].Value) && g.kind.follows(high, g.nodes[k]) {
			return k
		}
	}
	return g.end
}

// highBefore is the last accepted reading before i that is higher, or -1.
func (g *goingBack) highBefore(i int) int {
	for k := i - 1; k >= g.begin; k-- {
		if g.accepted[k] && g.kind.lower(g.nodes[i], g.nodes[k]) {
			return k
		}
	}
	return -1
}

// isLow reports whether a reading is disputed for a higher one before it.
func (g *goingBack) isLow(i int) bool {
	return !g.accepted[i] && g.kind.valid(g.nodes[i].Value) && g.highBefore(i) >= 0
}

// lately is how many of the last readings are looked at for one that was refuted: so many
// are kept however many come, so that it makes no difference in which order they came.
const lately = 4

// trailing is the first lower reading after the last accepted one, or -1 where there is
// none, or where it goes on from one that was refuted lately.
func (g *goingBack) trailing() int {
	last := len(g.accepted) - 1
	for last >= 0 && !g.accepted[last] {
		last--
	}
	low := -1
	for i := g.end - 1; i > last; i-- {
		if g.isLow(i) {
			low = i
		}
	}
	for i := last - 1; i >= max(g.begin, g.end-lately) && low >= 0; i-- {
		if g.isLow(i) {
			if g.kind.follows(g.nodes[i], g.nodes[low]) {
				return -1
			}
			break
		}
	}
	return low
}

// closed are the others, the latest first: lower readings that later ones refute, and
// single higher ones. open is the first of those that are open, or -1.
func (g *goingBack) closed(open int) (out []Back) {
	for i := g.end - 1; i >= g.begin; i-- {
		switch {
		case open >= 0 && i >= open:
		case g.isLow(i):
			out = append(out, Back{High: g.highBefore(i) - g.begin, Low: i - g.begin})
		}
	}
	for _, i := range g.overtaken() {
		if open < 0 || i < open {
			out = append(out, Back{High: i - g.begin, Low: g.underAfter(i) - g.begin})
		}
	}
	return out
}
