package notify

import (
	"slices"
	"strings"
	"testing"
	"time"

	"telltale/notify/delivery"
	"telltale/notify/people"
	"telltale/notify/wording"
)

// TestCertificateTold: the operators hear of a certificate 14 and 3 days before its end and
// when it has ended, once each, also from a replica that was started in between; of a
// renewed one, when that one ends.
func TestCertificateTold(t *testing.T) {
	d, err := people.Parse("people.yaml", []byte(leavers))
	if err != nil {
		t.Fatal(err)
	}
	m := &delivery.Memory{}
	ends := at("2031-06-14T10:00:00Z")
	var n *Notifier
	start := func() {
		n, _ = newNotifier(t, m, 1)
		n.SetDirectory(d)
	}
	start()
	var got []string
	tick := func(now string) {
		t.Helper()
		n.Certificate = func() Certificate {
			return Certificate{[]string{"fleet.larkfell.example"}, ends, ends.Sub(at(now))}
		}
		if err := n.Tick(t.Context(), at(now)); err != nil {
			t.Fatal(err)
		}
		all, err := delivery.All(t.Context(), m)
		if err != nil {
			t.Fatal(err)
		}
		for _, d := range all {
			if text := d.Person + " " + d.Way + ": " + d.Subject; d.Time.Equal(at(now)) {
				got = append(got, now[5:10]+" "+text)
			}
		}
	}
	for _, now := range []string{"2031-05-30T10:00:00Z", "2031-05-31T09:45:00Z", "2031-05-31T10:00:00Z", "2031-05-31T10:15:00Z", "2031-06-10T10:00:00Z"} {
		tick(now)
	}
	start()
	for _, now := range []string{"2031-06-10T10:15:00Z", "2031-06-11T10:00:00Z", "2031-06-12T10:00:00Z", "2031-06-14T09:45:00Z", "2031-06-14T10:00:00Z", "2031-06-20T10:00:00Z"} {
		tick(now)
	}
	ends = at("2031-07-03T10:00:00Z") // renewed, for a short time
	tick("2031-06-20T10:15:00Z")
	tick("2031-06-20T10:30:00Z")
	ends = at("2032-06-14T10:00:00Z")
	tick("2031-06-20T10:45:00Z")
	slices.Sort(got)
	var want []string
	for _, says := range []string{"05-31 ines %: The certificate ends in 14 days", "06-11 ines %: The certificate ends in 3 days", "06-14 ines %: The certificate has ended", "06-20 ines %: The certificate ends in 12 days"} {
		for _, way := range d.Person("ines").Ways() {
			want = append(want, strings.Replace(says, "%", way, 1))
		}
	}
	slices.Sort(want)
	if !slices.Equal(got, want) {
		t.Errorf("told\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// TestCertificateWords: what is said is a title, what follows, and what to do.
func TestCertificateWords(t *testing.T) {
	of := []string{"fleet.larkfell.example", "10.1.2.3"}
	for left, want := range map[time.Duration]string{
		14 * 24 * time.Hour: "The certificate ends in 14 days. The certificate for fleet.larkfell.example and 10.1.2.3 ends on 14 June 2031, in 14 days. From then on browsers and gateways refuse to connect, or warn.",
		25 * time.Hour:      "The certificate ends in 1 day. The certificate for fleet.larkfell.example and 10.1.2.3 ends on 14 June 2031, in 1 day. From then on browsers and gateways refuse to connect, or warn.",
		time.Hour:           "The certificate ends in less than a day. The certificate for fleet.larkfell.example and 10.1.2.3 ends on 14 June 2031, in less than a day. From then on browsers and gateways refuse to connect, or warn.",
		0:                   "The certificate has ended. The certificate for fleet.larkfell.example and 10.1.2.3 ended on 14 June 2031. Browsers and gateways refuse to connect, or warn.",
	} {
		title, what, do := wording.Certificate(of, "14 June 2031", left)
		if got := title + ". " + what; got != want || !strings.HasPrefix(do, "Renew it, ") {
			t.Errorf("%v: %s (%s)", left, got, do)
		}
	}
}
