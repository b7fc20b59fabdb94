package frame

import (
	"time"

	"telltale/notify/programs/gate"
)

// Own is what only the program knows that runs the service, and pages tell the operator.
// What is nil or empty is not known.
type Own struct {
	// Folder says what is wrong with the folder's files since they were read last, "" for
	// nothing, and when that was.
	Folder func() (faults string, read time.Time)
	// Disk is how much of the disk that holds the log is free, and its size, in bytes.
	Disk func() (free, size uint64, err error)
	// Held are the ways by which nothing goes out because the settings are wrong, and why.
	Held func() map[string]string
	// Suspect: the clock on the wall jumped, so ticks are held.
	Suspect func() bool
	// Certificate is when the one under which the service is reached ends, the names that it
	// is for, and what is wrong with its files since they were read last, "" for nothing.
	Certificate func() (ends time.Time, of []string, fault string)
	// NATS is where the log is: the address of a server that was joined; "" where the
	// service runs its own.
	NATS string
	// Gate knows the programs that speak to the service; nil where none do.
	Gate *gate.Gate
}
