package mail

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"strconv"
	"strings"
	"testing"
	"time"

	"telltale/notify"
	"telltale/notify/delivery"
	"telltale/notify/mail/mailtest"
	"telltale/notify/page"
	"telltale/testdata/hostile"
)

func plainly(port int) *SMTP {
	return &SMTP{Config{Host: "127.0.0.1", Port: port, TLS: "never", From: sender}}
}

// A Postfix takes every kind of mail that is written, and puts the bytes that were
// stored into the box; whom it does not know it refuses, and nobody else.
func TestPostfixTakesWhatIsWritten(t *testing.T) {
	p := mailtest.StartPostfix(t, []string{"ines"})
	post := plainly(p.Port)
	var want []string
	for _, m := range everyKind(t) {
		_, raw, err := compose(m)
		if err != nil {
			t.Fatal(err)
		}
		if err := post.Send(t.Context(), delivery.Delivery{Key: m.Key, To: "ines@larkfell.example", Raw: raw}); err != nil {
			t.Errorf("%s: %v", m.Subject, err)
		}
		want = append(want, strings.ReplaceAll(string(raw), "\r\n", "\n"))
	}
	err := post.Send(t.Context(), delivery.Delivery{Key: "x", To: "nobody@larkfell.example", Raw: []byte("Subject: x\r\n\r\nx\r\n")})
	if classOf(err) != "permanent" || !strings.Contains(err.Error(), "User unknown") {
		t.Errorf("a box that is not there: %s, %v", classOf(err), err)
	}
	var box []string
	wait(t, func() bool { box = p.Box(t, "ines"); return len(box) == len(want) })
	for _, w := range want {
		found := false
		for _, b := range box {
			found = found || strings.HasSuffix(b, w)
		}
		if !found {
			t.Errorf("not in the box as it was written:\n%.600s", w)
		}
	}
}

// A server without TLS gets nothing, unless the settings say that it may.
func TestPostfixWithoutTLSGetsNothing(t *testing.T) {
	p := mailtest.StartPostfix(t, []string{"ines"})
	post := plainly(p.Port)
	post.TLS = "starttls"
	if err := post.Send(t.Context(), aDelivery()); classOf(err) != "ours" {
		t.Errorf("%s: %v, want it held as our own fault", classOf(err), err)
	}
	if box := p.Box(t, "ines"); len(box) > 0 {
		t.Errorf("it went out in the clear: %q", box)
	}
}

// What smtp-sink does to a mail, and what is made of it.
func TestSinkRefusesAndHangsUp(t *testing.T) {
	for _, c := range []struct {
		name  string
		flags []string
		want  string
	}{
		{"takes it", nil, "sent"},
		{"the recipient not now", []string{"-r", "rcpt"}, "temporary"},
		{"the recipient never", []string{"-f", "rcpt"}, "permanent"},
		{"the content not now", []string{"-r", "."}, "temporary"},
		{"the content never", []string{"-f", "."}, "permanent"},
		{"the sender never", []string{"-f", "mail"}, "ours"},
		{"hangs up at the recipient", []string{"-q", "rcpt"}, "temporary"},
		{"hangs up at the final dot", []string{"-q", "."}, "unknown"},
		{"hangs up at QUIT", []string{"-q", "quit"}, "sent"},
	} {
		s := mailtest.StartSink(t, 0, c.flags...)
		if err := plainly(s.Port).Send(t.Context(), aDelivery()); classOf(err) != c.want {
			t.Errorf("%s: %s (%v), want %s", c.name, classOf(err), err, c.want)
		}
		s.Stop()
	}
}

// The connection drops after the final dot: the mail goes out again with the same
// Message-ID, the try with no known end is counted, and once a server has said 250
// nothing is sent again, though it hangs up at once.
func TestDropAfterTheDotIsTriedAgainAndSaid(t *testing.T) {
	first := mailtest.StartSink(t, 0, "-q", ".")
	kept := &store{}
	id, raw, err := compose(told(t, "Bus 7", "copper over baseline"))
	if err != nil {
		t.Fatal(err)
	}
	kept.put(t, delivery.Delivery{Key: "a", Person: "ines", Way: "mail", To: "ines@larkfell.example", MessageID: id, Raw: raw, State: delivery.Waiting})
	q := &delivery.Queue{Store: kept, Ways: map[string]delivery.Way{"mail": {Sender: plainly(first.Port)}}, Log: slog.New(slog.DiscardHandler)}
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan bool)
	go func() { q.Run(ctx); close(ended) }()
	defer func() { stop(); <-ended }()
	wait(t, func() bool { d := kept.get(t, "a"); return d.Unknown == 1 && d.State == delivery.Waiting })

	first.Stop()
	second := mailtest.StartSink(t, first.Port, "-q", "quit")
	if err := q.Retry(t.Context(), "a"); err != nil {
		t.Fatal(err)
	}
	wait(t, func() bool { return kept.get(t, "a").State == delivery.Sent })
	if err := q.Retry(t.Context(), "a"); err != nil { // changes nothing once it is sent
		t.Fatal(err)
	}
	d, taken := kept.get(t, "a"), second.Taken(t)
	if d.Attempts != 2 || d.Unknown != 1 || d.State != delivery.Sent {
		t.Errorf("%s after %d tries, %d of them with no known end", d.State, d.Attempts, d.Unknown)
	}
	if len(taken) != 1 || !strings.Contains(taken[0], "Message-ID: "+id) {
		t.Errorf("taken %d times: %q", len(taken), taken)
	}
}

// A server that takes ten minutes over each mail does not keep the service from
// ending, and what it had in hand is counted as unknown only after the final dot.
func TestTarpitEndsWithTheService(t *testing.T) {
	s := mailtest.StartSink(t, 0, "-w", "600")
	ctx, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer stop()
	began := time.Now()
	err := plainly(s.Port).Send(ctx, aDelivery())
	if classOf(err) != "temporary" || time.Since(began) > 30*time.Second {
		t.Errorf("%s after %s: %v", classOf(err), time.Since(began), err)
	}
}

// everyKind are messages with all that a mail may carry, and some with names that
// nobody should have.
func everyKind(t *testing.T) (all []notify.Message) {
	t.Helper()
	full := told(t, "Bus 7", "copper over baseline")
	full.Charts = []page.Picture{{ID: "chart-1", PNG: bytes.Repeat([]byte{0x89, 'P', 'N', 'G', 0, '\r', '\n', '.', '\n'}, 2000)}}
	full.Dates = []notify.Date{{Key: "due-1", Day: "2031-05-13", Title: "Bus 7: Change the oil", Said: full.Time}}
	full.Leave = "https://fleet.larkfell.example/u/" + strings.Repeat("token", 40)
	all = append(all, full)
	for _, h := range hostile.Text {
		all = append(all, told(t, h, "copper"))
	}
	for i := range all {
		all[i].Key += "-" + strconv.Itoa(i)
	}
	return all
}

// wait asks again and again until it is so.
func wait(t *testing.T, so func() bool) {
	t.Helper()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	for began := time.Now(); !so(); <-tick.C {
		if time.Since(began) > time.Minute {
			t.Fatal("it does not come")
		}
	}
}

// store keeps deliveries in memory.
type store struct{ delivery.Memory }

func (s *store) put(t *testing.T, d delivery.Delivery) {
	t.Helper()
	body, err := json.Marshal(d)
	if err == nil {
		err = s.Replace(t.Context(), d.Key, body)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func (s *store) get(t *testing.T, key string) (d delivery.Delivery) {
	t.Helper()
	all, err := delivery.All(t.Context(), s)
	for _, d := range all {
		if d.Key == key {
			return d
		}
	}
	t.Fatalf("no delivery %q: %v", key, err)
	return d
}
