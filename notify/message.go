package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/engine/intake"
	"telltale/notify/page"
	"telltale/notify/people"
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
	Subject string // the same for the whole life of an alarm
	// Thread names the alarm to this person; "" where nothing follows on it.
	Thread  string
	Time    time.Time   // of what it tells
	Vehicle string      // "" for a list
	Stage   alarm.Stage // the worst that it tells
	Text    string
	HTML    string
	// Leave is where the person asks for no more of the kind, "" where they cannot.
	Leave  string
	Charts []page.Picture // that the HTML shows
	Dates  []Date         // for the person's calendar
	Data   []byte         // for a program: sent as it is, in place of words
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
	m := t.p.by(t.way, key("alarm", c.Key, lead.Vehicle, t.p.ID, t.way), c.Key, c.Time)
	m.Subject, m.Vehicle, m.Stage = subjectOf(lead), lead.Vehicle, lead.To
	m.Thread = key("thread", lead.Vehicle, t.p.ID, t.way)
	data := notice{To: t.p.ID, Cause: c.Key}
	for _, n := range t.mine[:min(len(t.mine), maxBlocks)] {
		data.Transitions = append(data.Transitions, n.Transition)
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
