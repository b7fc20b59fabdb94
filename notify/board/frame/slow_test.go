package frame

import (
	"net/http"
	"net/http/httptest"
	"testing"
	"time"
)

// stuck is a page that never reads: nothing more can be written to it until its deadline.
type stuck struct {
	http.ResponseWriter
	deadline chan time.Time
}

func (s *stuck) SetWriteDeadline(t time.Time) error {
	select {
	case s.deadline <- t:
	default:
	}
	return nil
}

// Writing to a page has an end, so that one that never reads is not held for ever.
func TestLiveBoundsEachWrite(t *testing.T) {
	l := &Live{pages: map[*listening]struct{}{}, each: map[string]int{}}
	s := &stuck{httptest.NewRecorder(), make(chan time.Time, 10)}
	done := make(chan struct{})
	go func() {
		defer close(done)
		l.serve(s, httptest.NewRequestWithContext(t.Context(), "GET", "/changes?of=*", nil), ear{})
	}()
	if d := <-s.deadline; d.IsZero() || time.Until(d) > time.Minute {
		t.Errorf("the first write may last until %v", d)
	}
	l.Close()
	<-done
}

// The 501st page is told that it goes without, and one that leaves makes room.
func TestLiveTooMany(t *testing.T) {
	l := &Live{pages: map[*listening]struct{}{}, each: map[string]int{}}
	var all []*listening
	for range mostListening {
		all = append(all, l.listen("*", ""))
	}
	w := httptest.NewRecorder()
	l.serve(w, httptest.NewRequest("GET", "/changes?of=*", nil), ear{})
	if w.Code != http.StatusServiceUnavailable || w.Header().Get("Retry-After") == "" {
		t.Errorf("%d %v", w.Code, w.Header())
	}
	l.leave(all[7])
	if l.listen("*", "") == nil {
		t.Error("where one left there is no room")
	}
}
