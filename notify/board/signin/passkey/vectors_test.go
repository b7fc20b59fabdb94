package passkey

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"os"
	"strings"
	"testing"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"

	"telltale/engine/stream/passkeys"
	"telltale/notify/board/boardtest"
)

// vector is one of the test vectors of WebAuthn level 3, section 16 (W3C,
// https://www.w3.org/TR/webauthn-3/#sctn-test-vectors), as the tests of the library have
// them (github.com/go-webauthn/webauthn, BSD 3-clause).
type vector struct {
	Section, Of, ID string
	Made            struct{ Challenge, Client, Object string }
	Shown           struct{ Challenge, Client, Data, Signature string }
}

func plain(t *testing.T, text string) []byte {
	t.Helper()
	b, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// run has a party take a vector's passkey in, and sign its person in with it.
func (v *vector) run(t *testing.T, p *Party, ask protocol.UserVerificationRequirement) (made, shown error) {
	t.Helper()
	h := passkeys.Holder{Person: "maud", Handle: make([]byte, 64)}
	id := b64(plain(t, v.ID))
	answer := func(response map[string]string) []byte {
		body, err := json.Marshal(map[string]any{"id": id, "rawId": id, "type": "public-key", "clientExtensionResults": map[string]any{}, "response": response})
		if err != nil {
			t.Fatal(err)
		}
		return body
	}
	k, made := p.made(holder{&h, "Maud Ashgrove"}, webauthn.SessionData{Challenge: b64(plain(t, v.Made.Challenge)), UserID: h.Handle, UserVerification: ask,
		CredParams: webauthn.CredentialParametersDefault()},
		answer(map[string]string{"clientDataJSON": b64(plain(t, v.Made.Client)), "attestationObject": b64(plain(t, v.Made.Object))}))
	if made != nil {
		return made, nil
	}
	h.Keys = append(h.Keys, k)
	parsed, err := protocol.ParseCredentialRequestResponseBytes(answer(map[string]string{"clientDataJSON": b64(plain(t, v.Shown.Client)),
		"authenticatorData": b64(plain(t, v.Shown.Data)), "signature": b64(plain(t, v.Shown.Signature)), "userHandle": b64(h.Handle)}))
	if err != nil {
		t.Fatal(err)
	}
	copied, shown := p.check(&h, "", webauthn.SessionData{Challenge: b64(plain(t, v.Shown.Challenge)), UserVerification: ask}, parsed, boardtest.Morning)
	if copied {
		t.Errorf("%s: it is taken for copied", v.Section)
	}
	return nil, shown
}

// TestVectors has the published passkeys in two ways. A party that asks nobody who they are,
// and lets itself be framed by another page, takes all of them: the standard says that they
// are right. The board takes none that did not ask who holds the device, nor from a frame.
func TestVectors(t *testing.T) {
	text, err := os.ReadFile("testdata/vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var all []vector
	if err := json.Unmarshal(text, &all); err != nil || len(all) != 10 {
		t.Fatalf("%d vectors (%v)", len(all), err)
	}
	party := sha256.Sum256([]byte("example.org"))
	asked := func(data []byte) bool { // the flags stand behind the party's hash (6.1)
		at := bytes.Index(data, party[:])
		return data[at+len(party)]&verified != 0
	}
	ours, why := PartyOf("https://example.org")
	lax, _ := PartyOf("https://example.org")
	if why != "" {
		t.Fatal(why)
	}
	lax.Config.RPAllowCrossOrigin = true
	lax.Config.RPTopOrigins = []string{"https://example.com"}
	for _, v := range all {
		if made, shown := v.run(t, lax, protocol.VerificationPreferred); made != nil || shown != nil {
			t.Errorf("%s %s: %v, %v", v.Section, v.Of, made, shown)
		}
		framed := strings.Contains(string(plain(t, v.Made.Client)), `"crossOrigin":true`)
		made, shown := v.run(t, ours, protocol.VerificationRequired)
		if want := asked(plain(t, v.Made.Object)) && !framed; (made == nil) != want {
			t.Errorf("%s %s, made: %v, want it taken: %v", v.Section, v.Of, made, want)
		} else if want := asked(plain(t, v.Shown.Data)); made == nil && (shown == nil) != want {
			t.Errorf("%s %s, shown: %v, want it taken: %v", v.Section, v.Of, shown, want)
		}
	}
}
