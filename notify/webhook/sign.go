// Package webhook calls other programs: signed as Standard Webhooks 1.0.0 asks,
// and guarded against reaching addresses inside.
package webhook

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"
)

// Key reads a secret in the form whsec_ and base64 of 24 to 64 bytes.
func Key(secret string) ([]byte, error) {
	text, ok := strings.CutPrefix(strings.TrimSpace(secret), "whsec_")
	if !ok {
		return nil, errors.New("a secret begins with whsec_")
	}
	key, err := base64.StdEncoding.DecodeString(text)
	switch {
	case err != nil:
		return nil, errors.New("the secret after whsec_ is not base64")
	case len(key) < 24 || len(key) > 64:
		return nil, fmt.Errorf("the secret has %d bytes; it must have from 24 to 64", len(key))
	}
	return key, nil
}

// Sign is the value of webhook-signature for a body sent under an identity at a
// time: HMAC-SHA256 over identity, Unix seconds and body. The identity must not
// hold a full stop.
func Sign(key []byte, id string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, key)
	mac.Write([]byte(id + "." + strconv.FormatInt(at.Unix(), 10) + "."))
	mac.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}
