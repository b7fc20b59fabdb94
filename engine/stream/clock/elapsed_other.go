//go:build !linux

package clock

import "time"

func machineClock() machine {
	began := time.Now()
	return machine{wall: time.Now, elapsed: func() time.Duration { return time.Since(began) }}
}
