package event

import (
	"sync"
	"time"
	_ "time/tzdata" // zones must not hang on the machine
)

var zones sync.Map // name -> *time.Location

// loadZone returns the named zone, UTC where there is none of that name.
func loadZone(name string) *time.Location {
	if z, ok := zones.Load(name); ok {
		return z.(*time.Location)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		z = time.UTC
	}
	zones.Store(name, z)
	return z
}
