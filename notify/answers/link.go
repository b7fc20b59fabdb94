// Package answers is the page behind the links in mails: it shows an alarm and its
// evidence, and takes an answer. Whoever has a link may answer in the name of the
// person it was made for, until it expires; opening it changes nothing.
package answers

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"telltale/engine/alarm"
	"telltale/notify"
)

// Link is what a link is for: one alarm, answered by one person; or, with a kind, a
// person's leave of mails of that kind.
type Link struct {
	Person    string      `json:"p"`
	Vehicle   string      `json:"v"`
	Component string      `json:"c,omitempty"`
	Rule      string      `json:"r"`
	Kind      notify.Kind `json:"k,omitempty"`
	Expires   int64       `json:"e"` // Unix seconds
}

// Key signs links; 32 random bytes.
type Key []byte

// LoadKey reads the key at path, 32 bytes in hex; a file that is missing is made.
func LoadKey(path string) (Key, error) {
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		var fresh [32]byte
		_, _ = rand.Read(fresh[:]) // which does not fail
		text = []byte(hex.EncodeToString(fresh[:]) + "\n")
		err = os.WriteFile(path, text, 0o600)
	}
	if err != nil {
		return nil, fmt.Errorf("reading the key of the answers: %w", err)
	}
	key, err := hex.DecodeString(strings.TrimSpace(string(text)))
	if err != nil || len(key) < 32 {
		return nil, fmt.Errorf("reading the key of the answers: %s does not hold 32 bytes in hex", path)
	}
	return key, nil
}

// How long a link can be answered by, and how long one that ends mails: those are
// kept for long before somebody has enough of them.
const (
	linkLife  = 60 * 24 * time.Hour
	leaveLife = 400 * 24 * time.Hour
)

// Answer is the page's path at which a person answers an alarm.
func (k Key) Answer(person string, t *alarm.Transition) string {
	return "/a/" + k.Token(Link{Person: person, Vehicle: t.Home(), Component: t.Component, Rule: t.Rule, Expires: t.Time.Add(linkLife).Unix()})
}

// Leave is the page's path at which a person asks for no more of a kind, from a mail
// made at a time.
func (k Key) Leave(person string, kind notify.Kind, at time.Time) string {
	return "/u/" + k.Token(Link{Person: person, Kind: kind, Expires: at.Add(leaveLife).Unix()})
}

// The errors of Open.
var (
	ErrForged  = errors.New("this link was not made here")
	ErrExpired = errors.New("this link has expired")
)

const maxToken = 4 << 10

// Token is the link's last part: the same link is the same token.
func (k Key) Token(l Link) string {
	body, _ := json.Marshal(l) // strings and a number
	text := base64.RawURLEncoding.EncodeToString(body)
	return text + "." + k.sign(text)
}

func (k Key) sign(text string) string {
	mac := hmac.New(sha256.New, k)
	mac.Write([]byte(text))
	return base64.RawURLEncoding.EncodeToString(mac.Sum(nil))
}

// Open reads a token that this key made and that has not expired.
func (k Key) Open(token string, now time.Time) (l Link, err error) {
	text, sig, ok := strings.Cut(token, ".")
	if !ok || len(token) > maxToken || !hmac.Equal([]byte(sig), []byte(k.sign(text))) {
		return l, ErrForged
	}
	body, err := base64.RawURLEncoding.DecodeString(text)
	if err == nil {
		err = json.Unmarshal(body, &l)
	}
	switch {
	case err != nil:
		return l, ErrForged
	case now.Unix() > l.Expires:
		return l, ErrExpired
	}
	return l, nil
}
