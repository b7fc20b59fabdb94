package meter

import "slices"

// A vehicle is silent after more than silentFactor times the gap that nine in ten
// of its gaps do not exceed, and never within silentLeast. Common practice, no
// source.
const (
	silentLeast  = 14 * day
	silentFactor = 4
	silentCount  = 4 // readings, to know what is usual
)

// Silent reports whether the vehicle has not been read for longer than is usual
// for it, and since when. The moments are in order of time, Unix seconds. With
// fewer than four readings nothing is usual yet, and it is never silent.
func Silent(readings []int64, now int64) (since int64, silent bool) {
	n := len(readings)
	if n < silentCount {
		return 0, false
	}
	last := readings[n-1]
	if now-last <= silentLeast {
		return 0, false
	}
	gaps := make([]int64, n-1)
	for i := range gaps {
		gaps[i] = readings[i+1] - readings[i]
	}
	slices.Sort(gaps)
	usual := gaps[(9*len(gaps)+9)/10-1]
	return last, now-last > max(silentLeast, silentFactor*usual)
}
