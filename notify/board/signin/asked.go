package signin

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"time"

	"telltale/engine/stream/sessions"
	"telltale/notify/people"
)

// How long a mail serves, and how often its code can be tried (ASVS 5.0.0, 6.5.5 and 6.6.3).
//
// A code has 20 bits (6.5.4), so it is bounded twice. It is bound to the browser that asked:
// five tries of a million, and nobody uses up the tries of another. And of one address
// ten codes a day can be tried, whoever asks: who goes on for a whole year, and floods a
// mailbox with two mails a day for it, guesses one with a chance of 0.4 %. (NIST SP 800-63B
// section 5.2.2, from memory, has 100 wrong tries in a row, then none.) Whoever exhausts
// the ten of another keeps them from codes for a day, and not from the link beside it.
const (
	serves      = 10 * time.Minute
	mostTries   = 5
	mostOfADay  = 10
	codeDigits  = 6
	aDay        = 24 * time.Hour
	mostLetters = 5 // people who share an address
)

// asked is a browser that asked for a mail. It lies under the hash of what its cookie
// holds, so nothing of it opens the door, and the code cannot be found by trying either.
type asked struct {
	Address string   `json:"address"` // as it was typed
	To      string   `json:"to"`      // where to go on
	Letters []letter `json:"letters"`
}

// letter is one mail to one person.
type letter struct {
	Person string `json:"person"` // id; "" for one that is written to nobody
	Link   string `json:"link"`   // hashes
	Code   string `json:"code"`
}

// post is a letter with its secrets, on its way to a person.
type post struct {
	to         *people.Person
	link, code string
}

func askedKey(cookie string) string { return "asked." + sessions.Hash(cookie) }

func codeHash(cookie, person, code string) string {
	return sessions.Hash(cookie + " " + person + " " + code)
}

// newCode draws six digits, each code as likely as any other.
func newCode() string {
	n, err := rand.Int(rand.Reader, big.NewInt(1_000_000))
	if err != nil {
		panic(err) // it never fails: crypto/rand ends the process itself
	}
	return fmt.Sprintf("%0*d", codeDigits, n)
}

// ask has the door know a browser for ten minutes, by the cookie that it gets. A mail that
// is written to nobody has its link and code too, so that the work is the same.
func (d *Door) ask(ctx context.Context, address, to string, now time.Time) (cookie string, posts []post, err error) {
	cookie = sessions.Secret()
	a := asked{Address: address, To: to}
	for _, p := range d.at(address) {
		one := post{p, sessions.Secret(), newCode()}
		id := ""
		if p != nil {
			id = p.ID
			posts = append(posts, one)
		}
		a.Letters = append(a.Letters, letter{id, sessions.Hash(one.link), codeHash(cookie, id, one.code)})
	}
	return cookie, posts, d.Sessions.Create(ctx, askedKey(cookie), a, now, now.Add(serves))
}

// at are the people at an address; one that is nil where there is nobody.
func (d *Door) at(address string) (found []*people.Person) {
	for _, p := range d.People().People() { // all of them, found or not
		if strings.EqualFold(p.To[people.Mail], address) && len(found) < mostLetters && !d.elsewhere(p) {
			found = append(found, p)
		}
	}
	if len(found) == 0 {
		return []*people.Person{nil}
	}
	return found
}

// namesAt names who is at an address, for who asks who did what; the address itself may be
// anything that a stranger typed.
func (d *Door) namesAt(address string) string {
	var names []string
	for _, p := range d.at(address) {
		if p == nil {
			return wordNobody
		}
		names = append(names, p.ID)
	}
	return wordFor + strings.Join(names, ", ")
}

// linked is the letter of a link in the browser that asked for it; nil for every other.
func (a *asked) linked(token string) *letter {
	return a.find(func(l *letter) bool { return same(l.Link, sessions.Hash(token)) })
}

// coded is the letter of a code; nil where it is of none.
func (a *asked) coded(cookie, code string) *letter {
	return a.find(func(l *letter) bool { return same(l.Code, codeHash(cookie, l.Person, code)) })
}

// find looks at each letter. One that was written to nobody is nobody's.
func (a *asked) find(is func(*letter) bool) (found *letter) {
	for i := range a.Letters {
		if l := &a.Letters[i]; is(l) && l.Person != "" {
			found = l
		}
	}
	return found
}

func same(a, b string) bool { return subtle.ConstantTimeCompare([]byte(a), []byte(b)) == 1 }

// try takes a try of the code of a browser; false where there are no more.
func (d *Door) try(ctx context.Context, cookie, address string, now time.Time) (bool, error) {
	ok, err := d.count(ctx, "tries."+sessions.Hash(cookie), mostTries, now, serves)
	if err != nil || !ok {
		return false, err
	}
	return d.count(ctx, "codes."+sessions.Hash(strings.ToLower(address)), mostOfADay, now, aDay)
}

// count counts one more of a key; false, and nothing counted, where there are so many. It
// counts before anything is compared, and only if nobody else has counted meanwhile: who
// tries many at once has no more of them.
func (d *Door) count(ctx context.Context, key string, most int, now time.Time, lasts time.Duration) (bool, error) {
	for ctx.Err() == nil {
		var n int
		mark, err := d.Sessions.Get(ctx, key, now, &n)
		switch {
		case errors.Is(err, sessions.ErrNone):
			err = d.Sessions.Create(ctx, key, 1, now, now.Add(lasts))
		case err == nil && n >= most:
			return false, nil
		case err == nil:
			_, err = d.Sessions.Update(ctx, mark, n+1, now)
		}
		if !errors.Is(err, sessions.ErrChanged) {
			return err == nil, err
		}
	}
	return false, ctx.Err()
}
