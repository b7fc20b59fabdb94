package service

import "time"

// Records are read when something is asked of their vehicles, and the others so many
// at a time, which makes a million of them some minutes of an eighth of a processor.
const (
	unpackEvery = 50 * time.Millisecond
	unpackMost  = 20
)

// unpack reads some of the records that nothing was asked of since the start, before
// somebody asks for a list of all.
func (w *worker) unpack() (more bool, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	more = w.fold.Unpack(unpackMost)
	return more || len(w.held) > 0, w.fold.Err()
}
