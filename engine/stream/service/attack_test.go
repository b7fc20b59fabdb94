package service

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/micro"

	"telltale/engine/stream"
	"telltale/engine/stream/server/servertest"
	"telltale/testdata/hostile"
)

// asked is a service with a fleet that answers, all of its questions, and whoever reaches it.
func asked(t *testing.T) (s *Service, l *stream.Log, m micro.Service, nc *nats.Conn) {
	t.Helper()
	srv := servertest.Embed(t, t.TempDir())
	l = open(t, srv)
	s = run(t, l, quiet)
	m, err := s.Respond()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { m.Stop() })
	adopt(t, l, bookText)
	for _, v := range aFleet() {
		send(t, l, vehicle(v))
	}
	days(t, l, 1, 14)
	caughtUp(t, s)
	if nc, err = nats.Connect(srv.URL()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	return s, l, m, nc
}

func sizes(t *testing.T, l *stream.Log) string {
	t.Helper()
	all, err := l.Sizes(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(all)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// The service does not write its answers where whoever asks may not write.
func TestAnswersNowhereInside(t *testing.T) {
	_, l, m, nc := asked(t)
	before := sizes(t, l)
	for _, e := range m.Info().Endpoints {
		for _, to := range []string{"telltale.delivery.x", "telltale.notify", "telltale.book.x", "telltale.all.book", "telltale.all.tick", "telltale.alarm.3", "telltale.state.3.record.bus-03", "telltale.said.3.bus-03", "telltale.in.bus-03.reading", "$JS.API.STREAM.PURGE.ALARMS"} {
			for _, q := range []string{"", "{", `{"vehicle":"bus-03"}`} {
				if err := nc.PublishRequest(e.Subject, to, []byte(q)); err != nil {
					t.Fatal(err)
				}
			}
		}
		if _, err := nc.Request(e.Subject, []byte("{"), 5*time.Second); err != nil { // behind all of these
			t.Fatalf("%s: %v", e.Subject, err)
		}
	}
	if after := sizes(t, l); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
}

// Whatever is asked, it is answered, and the service goes on.
func TestOddQuestions(t *testing.T) {
	s, l, m, nc := asked(t)
	before := sizes(t, l)
	questions := []string{"null", "[]", "0", `""`, "{", "\x00", "\xff", strings.Repeat("[", 100_000), strings.Repeat(`{"a":`, 100_000), `{"vehicle":` + strings.Repeat("[", 9000) + strings.Repeat("]", 9000) + "}",
		`{"vehicle":1}`, `{"vehicle":null}`, `{"vehicle":"","vehicle":"bus-03"}`, `{"VEHICLE":"bus-03"}`,
		`{"ahead":-1}`, `{"ahead":99999999}`, `{"ahead":9223372036854775807}`, `{"ahead":1e400}`, `{"ahead":-9223372036854775808}`, `{"vehicle":"bus-03","ahead":9223372036854775807}`,
		`{"on":"0000-00-00"}`, `{"on":"9999-12-31"}`, `{"on":"-0001-01-01"}`, `{"on":"2031-02-31"}`, `{"on":"99999-01-01","vehicle":"bus-03"}`,
		`{"tag":"="}`, `{"tag":"a"}`, `{"tag":"a=b=c"}`, `{"limit":-1}`, `{"limit":9223372036854775807}`, `{"after":"x"}`, `{"before":"x","after":"y"}`, `{"view":"x"}`, `{"stage":["x"]}`,
		`{"units":["km","mi","km","h"]}`, `{"units":["parsec"]}`, `{"units":[""]}`, `{"events":[{}]}`, `{"events":null}`, `{"entries":[1,"x",{},[]]}`, `{"vehicle":"bus-03","entries":[{}]}`, `{"entries":["` + strings.Repeat("x", 500_000) + `"]}`,
		`{"vehicle":"bus-03","entries":[` + strings.Repeat("{},", 50_000) + `{}]}`, `{"events":[` + strings.Repeat("{},", 50_000) + `{}]}`,
	}
	for _, sees := range []string{"x", "(", "{}", "null", "\x00", strings.Repeat("(", 50_000), strings.Repeat("!", 50_000) + "true", strings.Repeat("1+", 50_000) + "1 > 0", `{"any":[` + strings.Repeat(`"a",`, 50_000) + `"a"]}`, "vehicle.name matches \"(a*)*b{1000}{1000}\"", "count(1..100000000, # > 5) > 1", `vehicle.tags["x"] == "y"`} {
		questions = append(questions, fmt.Sprintf(`{"sees":%s}`, must(json.Marshal(sees))))
	}
	for _, h := range hostile.Text {
		b, err := json.Marshal(map[string]any{"vehicle": h, "rule": h, "id": h, "name": h, "component": h, "number": h, "tag": h, "on": h, "q": h, "after": h})
		if err != nil {
			t.Fatal(err)
		}
		questions = append(questions, string(b))
		for _, k := range []string{"vehicle", "name", "q", "tag", "id"} {
			questions = append(questions, fmt.Sprintf(`{%q:%s}`, k, must(json.Marshal(h))))
		}
	}
	for _, e := range m.Info().Endpoints {
		if !strings.HasPrefix(e.Subject, "telltale.") {
			continue
		}
		for _, q := range questions {
			r, err := nc.Request(e.Subject, []byte(q), 20*time.Second)
			if err != nil {
				t.Fatalf("%s, asked %.200q: %v", e.Subject, q, err)
			}
			if text := r.Header.Get(micro.ErrorHeader); slices.ContainsFunc([]rune(text), func(r rune) bool { return r < ' ' || r == '\x7f' }) || strings.Contains(text, "panic") || strings.Contains(text, ".go:") || len(text) > 2000 {
				t.Errorf("%s, asked %.200q: the error %.300q", e.Subject, q, text)
			}
		}
	}
	if after := sizes(t, l); after != before {
		t.Errorf("the streams went from %s\nto %s", before, after)
	}
	if h := s.Health(); h.Now.IsZero() {
		t.Errorf("%+v", h)
	}
}

func must(b []byte, err error) string {
	if err != nil {
		panic(err)
	}
	return string(b)
}
