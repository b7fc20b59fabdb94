package audit

import (
	"bytes"
	"context"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"log/slog"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"pgregory.net/rapid"

	"telltale/engine/event"
	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/quick"
)

func TestMain(m *testing.M) { quick.Main(m) }

// open makes a trail on a server of its own.
func open(t testing.TB) (*Log, *stream.Log) {
	t.Helper()
	srv := servertest.Embed(t, t.TempDir())
	l, err := stream.Open(t.Context(), srv.Conn(), stream.LogConfig{Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		t.Fatal(err)
	}
	a, err := Open(t.Context(), l)
	if err != nil {
		t.Fatal(err)
	}
	return a, l
}

// list is a page of the trail without the places.
func list(t testing.TB, l *Log, q Query) (out []Entry, next uint64) {
	t.Helper()
	p, err := l.List(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range p.Entries {
		out = append(out, s.Entry)
	}
	return out, p.Next
}

var six = time.Date(2026, 11, 30, 6, 10, 0, 0, time.UTC)

// TestWrite stores an entry whole, once it is cleaned, and says it in the program's log.
func TestWrite(t *testing.T) {
	l, _ := open(t)
	var said bytes.Buffer
	l.logger = slog.New(slog.NewTextHandler(&said, &slog.HandlerOptions{ReplaceAttr: func(_ []string, a slog.Attr) slog.Attr {
		if a.Key == slog.TimeKey {
			return slog.Attr{}
		}
		return a
	}}))
	l.now = func() time.Time { return six }
	work := Entry{Who: "/people/ines", How: Link, From: "203.0.113.77:51544", What: Work, Vehicle: "bus-07", Outcome: Done,
		Events: []event.ID{{Source: "/people/ines", ID: "a1"}}, Words: "oil change\n2026-11-30 what=sign-in who=/people/tom"}
	gone, stop := context.WithCancel(t.Context())
	stop() // whoever did it is gone
	l.Write(gone, work)
	want := work
	want.Time, want.From, want.Words = six, "203.0.113.0/24", "oil change 2026-11-30 what=sign-in who=/people/tom"
	got, next := list(t, l, Query{})
	if !reflect.DeepEqual(got, []Entry{want}) || next != 0 {
		t.Errorf("got %+v, next %d\nwant %+v", got, next, want)
	}
	line := `level=INFO msg=audit what=work outcome=done who=/people/ines how=link from=203.0.113.0/24 vehicle=bus-07 events="/people/ines a1" ` +
		`words="oil change 2026-11-30 what=sign-in who=/people/tom"` + "\n"
	if said.String() != line {
		t.Errorf("the program's log has\n%swant\n%s", said.String(), line)
	}
	(*Log)(nil).Write(t.Context(), work) // keeps none, and does not fail
}

// TestListIsAFilter draws entries and asks for some of them, page by page: the pages
// together are what a reading of all gives.
func TestListIsAFilter(t *testing.T) {
	l, _ := open(t)
	var all []Entry
	rapid.Check(t, func(t *rapid.T) {
		who := rapid.SampledFrom([]string{"", "/people/ines", "/people/ines.t", "/devices/north bay"})
		vehicle := rapid.SampledFrom([]string{"", "bus-07", "bus.07", "*", ">"})
		what := rapid.SampledFrom([]What{Work, Reading, Export})
		for range rapid.IntRange(0, 9).Draw(t, "more") {
			e := Entry{Time: six, Who: who.Draw(t, "who"), Vehicle: vehicle.Draw(t, "vehicle"), What: what.Draw(t, "what"), Outcome: Done, Words: fmt.Sprint(len(all))}
			l.Write(context.Background(), e)
			all = append(all, e)
		}
		q := Query{Who: who.Draw(t, "asked who"), Vehicle: vehicle.Draw(t, "asked vehicle"), Limit: rapid.IntRange(20, 300).Draw(t, "limit")}
		if rapid.Bool().Draw(t, "of a kind") {
			q.What = what.Draw(t, "asked what")
		}
		var want, got []Entry
		for _, e := range slices.Backward(all) {
			if (q.Who == "" || e.Who == q.Who) && (q.Vehicle == "" || e.Vehicle == q.Vehicle) && (q.What == "" || e.What == q.What) {
				want = append(want, e)
			}
		}
		for more := true; more; more = q.Before != 0 {
			p, err := l.List(context.Background(), q)
			if err != nil {
				t.Fatal(err)
			}
			if len(p.Entries) > q.Limit || p.Next != 0 && len(p.Entries) < q.Limit {
				t.Fatalf("a page of %d has %d entries, next %d", q.Limit, len(p.Entries), p.Next)
			}
			for _, s := range p.Entries {
				got = append(got, s.Entry)
			}
			q.Before = p.Next
		}
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%+v: got %d entries, want %d:\n%+v\n%+v", q, len(got), len(want), got, want)
		}
	})
}

// TestListByTime asks for entries of a day.
func TestListByTime(t *testing.T) {
	l, _ := open(t)
	at := func() time.Time { // as the server has stored it
		info, err := l.stream.Info(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		return info.State.LastTime
	}
	l.Write(t.Context(), Entry{What: SignIn, Outcome: Done})
	first := at()
	l.Write(t.Context(), Entry{What: Work, Outcome: Done})
	second := at()
	l.Write(t.Context(), Entry{What: SignOut, Outcome: Done})
	for _, tt := range []struct {
		q    Query
		want []What
	}{
		{Query{}, []What{SignOut, Work, SignIn}},
		{Query{Since: second}, []What{SignOut, Work}},
		{Query{Until: second}, []What{SignIn}},
		{Query{Since: second, Until: second.Add(1)}, []What{Work}},
		{Query{Since: first.Add(-time.Hour), Until: first}, nil},
		{Query{Since: second.Add(time.Hour)}, nil},
		{Query{Until: second.Add(time.Hour), Limit: 1}, []What{SignOut}},
	} {
		entries, _ := list(t, l, tt.q)
		var got []What
		for _, e := range entries {
			got = append(got, e.What)
		}
		if !slices.Equal(got, tt.want) {
			t.Errorf("%+v: got %q, want %q", tt.q, got, tt.want)
		}
	}
}

// TestRefusalsAreBounded floods the trail with refusals: those of an hour are bounded by
// person and in all, what is done is written all the same, and the rest is counted.
func TestRefusalsAreBounded(t *testing.T) {
	l, _ := open(t)
	now := six
	l.now = func() time.Time { return now }
	for i := range 5000 {
		l.Write(t.Context(), Entry{Who: fmt.Sprintf("/people/p%d", i%50), From: fmt.Sprintf("10.0.%d.1", i%200), What: Looked, Outcome: Refused})
	}
	for range 300 {
		l.Write(t.Context(), Entry{What: SignIn, Outcome: Refused})
	}
	l.Write(t.Context(), Entry{Who: "/people/ines", What: Work, Outcome: Done})
	now = six.Add(time.Hour)
	for range 30 {
		l.Write(t.Context(), Entry{From: "10.0.0.1", What: SignIn, Outcome: Refused})
	}
	run, stop := context.WithCancel(t.Context())
	stop()
	l.Run(run) // says what is left
	var got []string
	entries, _ := list(t, l, Query{Limit: 500})
	listed := map[string]int{}
	for _, e := range slices.Backward(entries) {
		if e.Outcome == Done || e.Words != "" {
			got = append(got, strings.TrimSpace(fmt.Sprintf("%s %s %s %s", e.Who, e.What, e.Outcome, e.Words)))
		} else {
			listed[e.Time.Format("15h ")+string(e.What)]++
		}
	}
	if want := []string{
		"/people/ines work done",
		"looked refused 4900 more like these in the hour from 2026-11-30 06:00 UTC, too many to be listed one by one",
		"sign-in refused 300 more like these in the hour from 2026-11-30 06:00 UTC, too many to be listed one by one",
		"sign-in refused 10 more like these in the hour from 2026-11-30 07:00 UTC, too many to be listed one by one",
	}; !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if want := map[string]int{"06h looked": 100, "07h sign-in": 20}; !reflect.DeepEqual(listed, want) {
		t.Errorf("listed %v, want %v", listed, want)
	}
	const hours = 400 * 24
	if allRefusals*hours > mostKept/4 {
		t.Errorf("refusals of 400 days are %d of %d entries", allRefusals*hours, mostKept)
	}
}

// deaf is a stream that does not answer until it hears.
type deaf struct {
	jetstream.JetStream
	hears bool
}

// PublishMsg fails while it is deaf.
func (d *deaf) PublishMsg(ctx context.Context, m *nats.Msg, opts ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	if !d.hears {
		return nil, nats.ErrTimeout
	}
	return d.JetStream.PublishMsg(ctx, m, opts...)
}

// TestNothingIsLostSilently writes while the stream does not answer: entries wait, in their
// order, and those that had no room are counted.
func TestNothingIsLostSilently(t *testing.T) {
	l, _ := open(t)
	now := six
	l.now = func() time.Time { return now }
	line := &deaf{JetStream: l.stream.JS}
	l.stream.JS = line
	for i := range mostWaiting + 7 {
		l.Write(t.Context(), Entry{What: Work, Outcome: Done, Words: fmt.Sprint(i)})
	}
	if got, _ := list(t, l, Query{}); got != nil {
		t.Fatalf("stored %d while it does not answer", len(got))
	}
	if size, waiting, err := l.Size(t.Context()); size.Stream != Stream || size.Messages != 0 || waiting != mostWaiting+7 || err != nil {
		t.Errorf("it holds %+v, and %d wait (%v)", size, waiting, err)
	}
	line.hears = true
	now = now.Add(storeAgain)
	l.Write(t.Context(), Entry{What: Work, Outcome: Done, Words: "late"})
	got, _ := list(t, l, Query{Limit: 2 * mostWaiting})
	slices.Reverse(got)
	if len(got) != mostWaiting+1 {
		t.Fatalf("%d are stored, want %d and one more", len(got), mostWaiting)
	}
	for i, e := range got[:mostWaiting] {
		if e.Words != fmt.Sprint(i) {
			t.Fatalf("entry %d is %q", i, e.Words)
		}
	}
	if last := got[mostWaiting]; last.Outcome != Failed || last.Words != "8 entries before this one could not be stored here; the program's log has them" {
		t.Errorf("at the end stands %+v", last)
	}
}

// TestNoSecrets draws secrets of all shapes that are in use and puts them where a careless
// caller may: none is stored, and none is in the program's log.
func TestNoSecrets(t *testing.T) {
	l, _ := open(t)
	var said bytes.Buffer
	l.logger = slog.New(slog.NewJSONHandler(&said, nil))
	for range 200 {
		raw := make([]byte, 32)
		_, _ = rand.Read(raw)
		for _, secret := range []string{
			rand.Text(), rand.Text() + rand.Text(), "tt_" + rand.Text() + rand.Text(), hex.EncodeToString(raw), hex.EncodeToString(raw[:16]),
			base64.RawURLEncoding.EncodeToString(raw), base64.StdEncoding.EncodeToString(raw), "ines.thornbeck@larkfell.example",
		} {
			e := Entry{What: SignIn, Outcome: Refused, Why: "the link /sign-in/" + secret + " is used up", Words: "by " + secret + ", " + secret, From: "198.51.100.23"}.cleaned()
			b, err := json.Marshal(e)
			if err != nil {
				t.Fatal(err)
			}
			l.logger.LogAttrs(t.Context(), slog.LevelInfo, "audit", e.attrs()...)
			if text := string(b) + said.String(); strings.Contains(text, secret) || strings.Contains(text, "100.23") {
				t.Fatalf("%s stands in\n%s", secret, b)
			}
			said.Reset()
		}
	}
	for _, plain := range []string{
		"Oil-Samples-January-2026-North-Depot.csv", "rules/engine/fluid-and-filter.yaml", "312 rows of work-of-november.csv by mapping ledger, book 5f1e09ab77c2",
		"acknowledged: the filter was cut open, nothing found", "incompréhensiblement", "donaudampfschifffahrtsgesellschaft",
	} {
		if got := guarded(plain); got != plain {
			t.Errorf("%q becomes %q", plain, got)
		}
	}
}

// TestCleaned draws texts: what is stored is one line without marks that are not seen, and
// fits into the stream.
func TestCleaned(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringN(0, 3000, -1)
		e := Entry{Time: six, Who: text.Draw(t, "who"), Vehicle: text.Draw(t, "vehicle"), Why: text.Draw(t, "why"), Words: text.Draw(t, "words"),
			From: text.Draw(t, "from"), What: Work, Outcome: Done}
		for range rapid.IntRange(0, 60).Draw(t, "events") {
			e.Events = append(e.Events, event.ID{Source: strings.Repeat("s", 1024), ID: strings.Repeat("i", 1024)})
		}
		e = e.cleaned()
		for _, s := range []string{e.Who, e.Vehicle, e.Why, e.Words, e.From} {
			if len(s) > maxWords || strings.ContainsFunc(s, func(r rune) bool { return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) }) {
				t.Fatalf("%q is stored", s)
			}
		}
		m, err := message(e)
		if err != nil || m.Size() > maxSize || strings.ContainsAny(m.Subject, " \t\r\n*>") || strings.Count(m.Subject, ".") != 4 {
			t.Fatalf("%d bytes on %q: %v", m.Size(), m.Subject, err)
		}
	})
}

// TestNetwork cuts addresses as it is usual for logs that are kept: 24 bits of IPv4, 48 of
// IPv6. The examples are of RFC 5737 and RFC 3849.
func TestNetwork(t *testing.T) {
	for address, want := range map[string]string{
		"192.0.2.77": "192.0.2.0/24", "198.51.100.1:443": "198.51.100.0/24", "::ffff:203.0.113.9": "203.0.113.0/24",
		"2001:db8:12:3456::1": "2001:db8:12::/48", "[2001:db8:12:3456::1]:443": "2001:db8:12::/48", "[fe80::1%eth0]:80": "fe80::/48",
		"127.0.0.1:5": "127.0.0.0/24", "": "", "pipe": "", "@": "", "192.0.2.0/24": "",
	} {
		if got := Network(address); got != want {
			t.Errorf("%q is of %q, want %q", address, got, want)
		}
		e := Entry{From: want}.cleaned()
		if e.From != want {
			t.Errorf("%q becomes %q", want, e.From)
		}
	}
	if e := (Entry{From: "192.0.2.77/32"}).cleaned(); e.From != "" {
		t.Errorf("a whole address is kept: %q", e.From)
	}
}

// TestNobodyElse: what stands in the trail stays there, whoever asks with whatever rights.
func TestNobodyElse(t *testing.T) {
	l, log := open(t)
	l.Write(t.Context(), Entry{What: Work, Outcome: Done})
	s := l.stream.S
	if err := s.DeleteMsg(t.Context(), 1); err == nil {
		t.Error("an entry can be taken out")
	}
	if err := s.Purge(t.Context()); err == nil {
		t.Error("all can be taken out")
	}
	again, err := Open(t.Context(), log)
	if err != nil {
		t.Fatal(err)
	}
	if got, _ := list(t, again, Query{}); len(got) != 1 {
		t.Errorf("opened again, it has %d entries", len(got))
	}
	if n, err := log.Events.LastSeq(t.Context()); n != 0 || err != nil {
		t.Errorf("the log of events has %d messages (%v)", n, err)
	}
}
