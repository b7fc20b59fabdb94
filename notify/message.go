package notify

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/due"
	"telltale/engine/event"
	"telltale/engine/intake"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/picture"
	"telltale/notify/wording"
	"telltale/rules/english"
)

// Message is what one person is told at once, in words.
type Message struct {
	// Key is made of cause, vehicle, person and way; the same message made again
	// has the same key. It is of a-z, 0-9 and -, so it can be part of a subject or
	// a file name.
	Key     string
	Cause   string // Cause.Key, or the digest's person and date
	Person  string // id
	Name    string
	Way     string // by its name
	To      string // address, URL, subject or folder
	Subject string // the stage first, then what it is about
	// Thread names the alarm to this person; "" where nothing follows on it.
	Thread  string
	Time    time.Time   // of what it tells
	Vehicle string      // "" for a list
	Stage   alarm.Stage // the worst that it tells
	Urgent  bool        // a warning is among it
	Text    string
	HTML    string
	// Leave is where the person asks for no more of the kind, "" where they cannot.
	Leave    string
	Charts   []page.Picture // that the HTML shows
	Dates    []Date         // for the person's calendar
	Data     []byte         // for a program: sent as it is, in place of words
	cautions []string       // that it tells in full
	// Fault is what went wrong in writing the message: it says less than it should.
	Fault string
}

// by is a message by a way, before it says anything.
func (p reader) by(way, key, cause string, at time.Time) Message {
	return Message{Key: key, Cause: cause, Person: p.ID, Name: p.Name, Way: way, To: p.To[way], Time: at}
}

func (p reader) mail(key, cause string, at time.Time) Message {
	return p.by(people.Mail, key, cause, at)
}

// notice is what a program is told: the data of a CloudEvent.
type notice struct {
	To          string              `json:"to"` // the person of people.yaml
	Cause       string              `json:"cause"`
	Transitions []*alarm.Transition `json:"transitions"`
}

// tell has the message say the data to a program: as a CloudEvent whose identity is
// the message's key.
func (m *Message) tell(kind string, data any) {
	m.Data, _ = json.Marshal(intake.CloudEvent{ // a transition holds no NaN: it has been through JSON
		SpecVersion: intake.SpecVersion, Type: "telltale." + kind + ".v1", Source: "/telltale", ID: m.Key, Subject: m.Vehicle,
		Time: m.Time.UTC(), ContentType: "application/json", Data: data,
	})
}

// told is the message for a program: one CloudEvent for one cause and vehicle.
func (t telling) told(c Cause) Message {
	lead := t.mine[0]
	m := t.p.by(t.way, key("alarm", c.Key, lead.Home(), t.p.ID, t.way), c.Key, c.Time)
	m.Subject, m.Vehicle, m.Stage = subjectOf(t.mine), lead.Vehicle, lead.To
	m.Thread = key("thread", lead.Home(), t.p.ID, t.way)
	data := notice{To: t.p.ID, Cause: c.Key}
	for _, n := range t.mine[:min(len(t.mine), maxBlocks)] {
		data.Transitions = append(data.Transitions, t.p.on(n.Reads).Said(n.Transition))
	}
	m.tell("told", data)
	return m
}

// digits of a key: 80 bits of SHA-256, beyond chance for any number of messages.
const digits = 20

// key makes a short name of the parts. They are kept apart by a byte that no
// identity holds.
func key(kind string, parts ...string) string {
	sum := sha256.Sum256([]byte(strings.Join(parts, "\x00")))
	return kind + "-" + hex.EncodeToString(sum[:])[:digits]
}

// Date is a day on which work is due, for a person's calendar.
type Date struct {
	Key   string // of the work, the same for all that is ever said of it
	Day   string // YYYY-MM-DD
	Title string
	Text  string
	Said  time.Time // when the day was said; what is said later goes before
	Over  bool      // nothing is due any more
}

// dueOn is the day of a task for the person's calendar; ok is false where there
// is none, or it lies behind. Where a meter decides it is the likely day, or the
// calendar's if that comes first.
func (p reader) dueOn(n news) (d Date, ok bool) {
	t := n.Transition
	if !t.Task {
		return d, false
	}
	d = dateFor(p, n.vehicle(), t, t.Time)
	if t.Due == nil {
		d.Over, d.Day = true, t.Time.In(p.Zone).Format(time.DateOnly)
		d.Text = page.Clean(wording.EndOf(t), page.MaxText)
		return d, t.To == alarm.Normal
	}
	d.Day = wording.FirstDay(t.Due.Limit, t.Due.Date, t.Due.Likely)
	d.Text = page.Clean(english.Sentences(p.DueNow(t), english.Sentences(p.CautionsOf(t.Cautions, t.OwnCautions)...), p.Ours(wording.StandingNote)), page.MaxText)
	return d, d.Day != "" && d.Day >= t.Due.On
}

// listedOn is the day of work on a list.
func (l *list) listedOn(e *line) (d Date, ok bool) {
	if e.work == nil {
		return d, false
	}
	return dateOf(l.p.on(e.Reads), cmp.Or(l.vehicles[e.Vehicle], e.Vehicle), e.work, &e.Transition, l.today, l.now)
}

// DateOf is the day of work on a due list for a person's calendar, as it is in their mails;
// ok is false where there is none, or it lies behind. today is YYYY-MM-DD, said the moment
// of the list.
func DateOf(who *people.Person, i *due.Item, today string, said time.Time) (d Date, ok bool) {
	p := readerOf(who).on(i.Reads)
	work := p.SaidOf(i)
	return dateOf(p, cmp.Or(event.Label(i.Name, i.Plate), i.Vehicle), work, &lineOf(work).Transition, today, said)
}

func dateOf(p reader, vehicle string, i *due.Item, t *alarm.Transition, today string, said time.Time) (d Date, ok bool) {
	d = dateFor(p, vehicle, t, said)
	d.Day = wording.FirstDay(i.Limit, i.DueDate, i.Likely)
	d.Text = page.Clean(english.Sentences(p.WhyDue(i, today), p.Forecast(i, today), english.Sentences(p.CautionsOf(i.Cautions, i.OwnCautions)...), p.Ours(wording.StandingNote)), page.MaxText)
	return d, d.Day != "" && d.Day >= today
}

func dateFor(p reader, vehicle string, t *alarm.Transition, said time.Time) Date {
	return Date{Key: key("due", t.Home(), t.Component, t.Rule, p.ID), Title: page.Clean(wording.HeadOf(vehicle, t), 200), Said: said}
}

// maxCharts bounds the pictures of one message.
const maxCharts = 2

// pictures draws the samples that the telling is about, by component. The
// transitions were judged on them: a sample that has come since is not shown.
func (n *Notifier) pictures(t telling) map[string]*page.Picture {
	if n.Sample == nil || t.way != people.Mail {
		return nil
	}
	out := map[string]*page.Picture{}
	for _, one := range t.mine {
		if one.Task || one.Component == "" || one.To == alarm.Normal || out[one.Component] != nil || len(out) == maxCharts {
			continue
		}
		who := t.p.on(one.Reads)
		n.guard("drawing a sample of "+one.Vehicle, "the message goes without", func() {
			for _, v := range n.Sample(one.Vehicle, one.Component, who.Units()) {
				id := key("chart", v.Sample.Source, v.Sample.ID, v.Component) + "@telltale"
				if p := picture.Of(who.Person, v, one.Events, id); p != nil {
					out[one.Component] = p
				}
			}
		})
	}
	return out
}
