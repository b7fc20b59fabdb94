package notify

import (
	"crypto/sha256"
	"encoding/hex"
	"strings"
	"time"

	"telltale/engine/alarm"
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
