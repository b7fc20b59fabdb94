package service

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"telltale/engine/alarm"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/engine/stream/wire"
	"telltale/rules"
	"telltale/testdata/quick"
)

// TestReconcile kills an older program that judged the same events by another
// interval, before it wrote anything down. The newer one says what it sees
// otherwise, once, marked, however often it crashes itself.
func TestReconcile(t *testing.T) {
	quick.Beside(t)
	for _, tt := range []struct {
		name, interval string
		until          float64 // what the odometer shows at last
		older, newer   []string
	}{
		{"withdrawn", "400 km", 1450, []string{"a oil raised to soon", "a oil worsened to due", "a oil worsened to overdue"}, []string{"a oil withdrawn to normal"}},
		{"raised", "5000 km", 1950, nil, []string{"a oil raised to soon"}},
		{"eased", "860 km", 1950, []string{"a oil raised to soon", "a oil worsened to due", "a oil worsened to overdue"}, []string{"a oil eased to soon"}},
		{"no difference", "1000 km", 1950, []string{"a oil raised to soon"}, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l := open(t, servertest.Embed(t, t.TempDir()))
			s := run(t, l, quiet)
			other := otherwise(t, s, tt.interval)
			if b := adopt(t, l, bookText); b.Hash != other.Hash {
				t.Fatal("the books are told apart")
			}
			send(t, l, vehicle("a"), vehicle("b"))
			for n := 1; 1000+50*float64(n-1) <= tt.until; n++ {
				send(t, l, reading("a", n, 1000+50*float64(n-1)))
			}
			raw(t, l, "telltale.in.a.reading", "{}") // so that what follows all of these is out
			tt.older = append(tt.older, "a refused: specversion: missing; every CloudEvent has one")
			caughtUp(t, s)
			kill(t, s)
			same(t, "the older one said", saidLines(t, l), tt.older)
			for range 3 {
				s = run(t, l, quiet)
				caughtUp(t, s)
				same(t, "said", saidLines(t, l), append(tt.older[:len(tt.older):len(tt.older)], tt.newer...))
				kill(t, s)
			}
			s = run(t, l, quiet)
			caughtUp(t, s)
			stop(t, s)
			checkMarked(t, l, s, tt.newer)
		})
	}
}

// otherwise has the service take another book for the one of bookText.
func otherwise(t *testing.T, s *Service, interval string) *rules.Book {
	t.Helper()
	load := func(text string) *rules.Book {
		b, err := rules.Load([]rules.File{{Name: "oil.yaml", Text: []byte(text)}})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	other := load(strings.Replace(bookText, "1000 km", interval, 1))
	other.Hash = load(bookText).Hash
	for _, w := range s.workers { // before there is any event
		w.shelf = misread{w.shelf, other}
	}
	return other
}

// misread is a shelf with another book in the place of the one stored.
type misread struct {
	shelf
	other *rules.Book
}

func (m misread) Book(context.Context, string) (*rules.Book, error) { return m.other, nil }

// checkMarked finds the marked transitions, and that each alarm stands as it was
// told last.
func checkMarked(t *testing.T, l *stream.Log, s *Service, want []string) {
	t.Helper()
	var marked []string
	told := map[string]alarm.Stage{}
	last, err := l.LastOutput(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	read := fmt.Errorf("read")
	err = l.Outputs(t.Context(), 1, func(m wire.Message) error {
		for _, o := range m.Outputs {
			if o.Transition == nil {
				continue
			}
			told[o.Transition.Vehicle] = o.Transition.To
			if o.Transition.Reconciled != m.Reconciled {
				t.Errorf("message %d is marked %t, its transition %t", m.Seq, m.Reconciled, o.Transition.Reconciled)
			}
			if m.Reconciled {
				marked = append(marked, line(o))
			}
		}
		if m.Seq == last {
			return read
		}
		return nil
	})
	if err != read {
		t.Fatal(err)
	}
	same(t, "marked", marked, want)
	stands := map[string]alarm.Stage{}
	for _, a := range standings(t, s) {
		stands[a.Vehicle] = a.To
	}
	for v, to := range told {
		if to != stands[v] && !(to == "normal" && stands[v] == "") {
			t.Errorf("vehicle %s was told to be %s and is %q", v, to, stands[v])
		}
	}
}
