package programs

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
)

// tokenPrefix begins each token, so that one that got into a file or a log is found there.
const tokenPrefix = "tt_"

// Digest is the SHA-256 of a token. A token has 256 bits by chance, so that nothing slower is
// needed, as for a password would be (NIST SP 800-63B, look-up secrets of 112 bits and more).
type Digest [sha256.Size]byte

// NewToken makes a token, and the line by which the service knows it.
func NewToken() (token, line string) {
	var b [32]byte
	_, _ = rand.Read(b[:]) // which never fails
	token = tokenPrefix + base64.RawURLEncoding.EncodeToString(b[:])
	d := DigestOf(token)
	return token, "sha256:" + hex.EncodeToString(d[:])
}

// DigestOf is what a token is known by.
func DigestOf(token string) Digest { return sha256.Sum256([]byte(token)) }

// ReadDigest reads the line of a token's file. No error tells what stands there: it may be
// the token itself.
func ReadDigest(text string) (d Digest, err error) {
	text = strings.TrimSpace(text)
	if strings.HasPrefix(text, tokenPrefix) {
		return d, errors.New("it holds the token itself, where the line with its SHA-256 belongs; make a new one")
	}
	raw, ok := strings.CutPrefix(text, "sha256:")
	b, err := hex.DecodeString(raw)
	if !ok || err != nil || len(b) != len(d) {
		return d, fmt.Errorf("it does not hold one line of sha256: and %d hex digits", 2*len(d))
	}
	return Digest(b), nil
}

// Tokens are the digests of tokens, by the program's id.
type Tokens map[string]Digest

// Whose is the program that has the token; "" where none has. All are compared whatever the
// first says, so that the time it takes tells nothing of them.
func (t Tokens) Whose(token string) (id string) {
	d := DigestOf(token)
	for name, known := range t {
		if subtle.ConstantTimeCompare(d[:], known[:]) == 1 {
			id = name
		}
	}
	return id
}
