package clock

import (
	"time"

	"golang.org/x/sys/unix"
)

// machineClock counts the time that the machine sleeps as elapsed, which the
// monotonic clock leaves out: a laptop that is opened in the morning is not a clock
// that jumped.
func machineClock() machine {
	began := time.Now()
	return machine{wall: time.Now, elapsed: func() time.Duration {
		var t unix.Timespec
		if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
			return time.Since(began)
		}
		return time.Duration(t.Nano())
	}}
}
