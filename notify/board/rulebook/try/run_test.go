package try

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"
)

// begun is a run that works until it is ended, and what ended it.
func begun(s *runs) (r *run, why *error) {
	r, why = &run{}, new(error)
	if s.begin(context.Background(), r, func(ctx context.Context) {
		<-ctx.Done()
		*why = context.Cause(ctx)
	}) != nil {
		return nil, nil
	}
	return r, why
}

// A run ends when nobody waits for it, when its time is up, or when it is stopped; what came
// of it is kept for its time, and of so many alone.
func TestRuns(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		s := &runs{}
		r, why := begun(s)
		if other, _ := begun(s); other != nil {
			t.Error("two go on at once")
		}
		time.Sleep(leftFor + time.Second)
		synctest.Wait()
		if r.running() || !errors.Is(*why, errLeft) {
			t.Errorf("nobody waited, and it ended by %v", *why)
		}
		r, why = begun(s)
		for range 5 {
			time.Sleep(atMost / 5)
			synctest.Wait()
			s.get(r.id)
		}
		time.Sleep(time.Second)
		synctest.Wait()
		if r.running() || !errors.Is(*why, errLong) {
			t.Errorf("its time was up, and it ended by %v", *why)
		}
		time.Sleep(keptFor - 2*time.Second)
		synctest.Wait()
		if s.get(r.id) != r {
			t.Error("it is forgotten before its time")
		}
		time.Sleep(keptFor + time.Second)
		synctest.Wait()
		if s.get(r.id) != nil || len(s.list) != 0 {
			t.Errorf("%d are kept after their time", len(s.list))
		}
		for range mostKept + 2 {
			r, why = begun(s)
			r.cancel()
			synctest.Wait()
			if !errors.Is(*why, errStopped) {
				t.Errorf("it was stopped, and ended by %v", *why)
			}
		}
		if len(s.list) != mostKept {
			t.Errorf("%d are kept", len(s.list))
		}
		time.Sleep(keptFor + time.Second)
	})
}
