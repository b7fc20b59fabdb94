package frame

import (
	"bufio"
	"context"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"telltale/engine/alarm"
)

// pipe is a page that listens: what is sent comes by lines.
type pipe struct {
	http.ResponseWriter
	lines chan string
}

func (p pipe) Write(b []byte) (int, error) {
	for s := bufio.NewScanner(strings.NewReader(string(b))); s.Scan(); {
		if s.Text() != "" {
			p.lines <- s.Text()
		}
	}
	return len(b), nil
}

func (p pipe) Flush() {}

func listen(ctx context.Context, l *Live, of string) chan string { return listenAs(ctx, l, of, ear{}) }

func listenAs(ctx context.Context, l *Live, of string, e ear) chan string {
	p := pipe{httptest.NewRecorder(), make(chan string, 100)}
	go func() {
		l.serve(p, httptest.NewRequestWithContext(ctx, "GET", "/changes?of="+of, nil), e)
		close(p.lines)
	}()
	synctest.Wait()
	return p.lines
}

// heard is what came until now.
func heard(lines chan string) (out []string) {
	synctest.Wait()
	for {
		select {
		case line, ok := <-lines:
			if !ok {
				return append(out, "ended")
			}
			out = append(out, line)
		default:
			return out
		}
	}
}

// A page hears of the vehicles that whoever looks may see, and of no other, while they are
// signed in.
func TestLiveOfTheirs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &Live{pages: map[*listening]struct{}{}}
		var out atomic.Bool
		list := listenAs(t.Context(), l, "*", ear{sees: func(v string) bool { return v == "bus-07" }, still: func() bool { return !out.Load() }})
		heard(list)
		l.changed(&alarm.Transition{Vehicle: "van-1"})
		time.Sleep(2 * time.Second)
		if got := heard(list); got != nil {
			t.Errorf("of another's vehicle it hears %q", got)
		}
		l.changed(&alarm.Transition{Vehicle: "van-1"})
		l.changed(&alarm.Transition{Vehicle: "bus-07"})
		time.Sleep(2 * time.Second)
		if got := strings.Join(heard(list), ", "); got != "event: changed, data: " {
			t.Errorf("of its own: %q", got)
		}
		out.Store(true)
		time.Sleep(2 * time.Minute)
		if got := heard(list); len(got) == 0 || got[len(got)-1] != "ended" {
			t.Errorf("after signing out: %q", got)
		}
	})
}

func TestLive(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l := &Live{pages: map[*listening]struct{}{}, each: map[string]int{}}
		bus, all, van := listen(t.Context(), l, "bus-07"), listen(t.Context(), l, "*"), listen(t.Context(), l, "van-1")
		for range 50 {
			l.changed(&alarm.Transition{Vehicle: "bus-07"})
		}
		time.Sleep(2 * time.Second)
		for name, c := range map[string]struct {
			lines chan string
			want  string
		}{
			"the vehicle's page": {bus, "retry: 5000, event: changed, data: "},
			"a list":             {all, "retry: 5000, event: changed, data: "},
			"another vehicle's":  {van, "retry: 5000"},
		} {
			if got := strings.Join(heard(c.lines), ", "); got != c.want {
				t.Errorf("%s: got %q, want %q", name, got, c.want)
			}
		}
		time.Sleep(30 * time.Second)
		if got := heard(van); len(got) != 1 || got[0] != ": still here" {
			t.Errorf("in a quiet time: %q", got)
		}
		l.Close()
		if got := heard(van); len(got) != 1 || got[0] != "ended" {
			t.Errorf("after the end: %q", got)
		}
		if got := heard(listen(t.Context(), l, "*")); strings.Join(got, "") == "" {
			t.Error("who comes after the end is not told")
		}
	})
}
