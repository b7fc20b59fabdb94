package meter

// day is a day in seconds.
const day = 86400

// level keeps the latest reading of each of its latest buckets that hold any.
type level struct {
	width int64 // seconds; buckets begin at multiples of it
	keep  int
}

// levels reach from seconds to years, so that what is kept is dense where work was
// just done and still tells the usage of years ago.
var levels = [...]level{
	{1, 4}, {day / 4, 4}, {day, 7}, {4 * day, 7}, {16 * day, 8}, {64 * day, 5}, {256 * day, 2}, {1024 * day, 2},
}

// keptFirst is how many of the first readings are kept: a due point may count from the
// first that is not void.
const keptFirst = 4

// KeptWeighty is how many readings that a service or a sample stands on are kept
// whatever their age; with the rest at most 64 are kept
// (39 by the levels and the first four).
const KeptWeighty = 21

// ThinFunc returns the readings to keep, at most 64, in the same order: the first four
// and the last of all, the latest of each of the latest time buckets of several
// widths, and the latest KeptWeighty of the weighty ones. The list must be in a
// total order that does not go back in time; of two in one bucket the later in
// the list is the latest.
//
// Thinning may be done at any time: ThinFunc(ThinFunc(A) ∪ B) is ThinFunc(A ∪ B),
// so that late, repeated and early thinned readings leave the same behind.
// A list that is short enough to be kept whole is returned as it is.
func ThinFunc[T any](list []T, at func(*T) int64, weighty func(*T) bool) []T {
	var room [256]bool
	keep := append(room[:0], make([]bool, len(list))...)
	var momentRoom [256]int64
	moments := momentRoom[:0]
	for i := range list {
		moments = append(moments, at(&list[i]))
	}
	for _, l := range levels {
		l.mark(keep, moments)
	}
	for i, n := len(list)-1, 0; i >= 0 && n < KeptWeighty; i-- {
		if weighty(&list[i]) {
			keep[i] = true
			n++
		}
	}
	for i := range min(keptFirst, len(list)) {
		keep[i] = true
	}
	n := 0
	for _, k := range keep {
		if k {
			n++
		}
	}
	if n == len(list) {
		return list
	}
	out := make([]T, 0, n)
	for i, k := range keep {
		if k {
			out = append(out, list[i])
		}
	}
	return out
}

func (l level) mark(keep []bool, moments []int64) {
	var begin int64 // of the bucket
	for i, n := len(keep)-1, 0; i >= 0; i-- {
		if n > 0 && moments[i] >= begin {
			continue // they do not go forward in time from here
		}
		if n == l.keep {
			return
		}
		keep[i], begin = true, floorDiv(moments[i], l.width)*l.width
		n++
	}
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
