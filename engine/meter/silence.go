package meter

import "slices"

// What is usual for a vehicle is told by its latest days with a reading, no more
// than thinning always keeps, so that thinning does not change the answer. It is
// silent after more than silentFactor times the gap that three in four of theirs
// do not exceed, and never within silentLeast. Common practice, no source.
const (
	silentDays   = 7
	silentCount  = 4 // days, to know what is usual
	silentLeast  = 14 * day
	silentFactor = 4
)

// Silent reports whether the vehicle has not been read for longer than is usual
// for it, and since when. The moments are in order of time, Unix seconds, disputed
// readings included: they too were heard. With readings on fewer than four days
// nothing is usual yet, and it is never silent. A vehicle that came back into service
// after its last reading is waited for from then on; inService is 0 where none did.
func Silent(readings []int64, inService, now int64) (since int64, silent bool) {
	from, ok := SilentFrom(readings, inService)
	if !ok || now < from {
		return 0, false
	}
	return readings[len(readings)-1], true
}

// SilentFrom is the moment from which the vehicle is silent if it is not read
// again; ok is false where it never is.
func SilentFrom(readings []int64, inService int64) (at int64, ok bool) {
	var room [silentDays]int64
	latest := room[:0]
	for i := len(readings) - 1; i >= 0 && len(latest) < silentDays; i-- {
		if n := len(latest); n == 0 || floorDiv(readings[i], day) != floorDiv(latest[n-1], day) {
			latest = append(latest, readings[i])
		}
	}
	if len(latest) < silentCount {
		return 0, false
	}
	var gapRoom [silentDays]int64
	gaps := gapRoom[:0]
	for i := range len(latest) - 1 {
		gaps = append(gaps, latest[i]-latest[i+1])
	}
	slices.Sort(gaps)
	usual := gaps[(3*len(gaps)+3)/4-1]
	return max(latest[0], inService) + max(silentLeast, silentFactor*usual) + 1, true
}
