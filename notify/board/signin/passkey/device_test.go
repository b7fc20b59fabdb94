package passkey

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"slices"
	"testing"
)

// device makes and shows passkeys as WebAuthn level 3 has it (6.1, 6.5.1, 5.8.1), and says
// what a real one would never say.
type device struct {
	t         *testing.T
	id        []byte
	key       *ecdsa.PrivateKey
	handle    []byte
	count     uint32
	origin    string
	party     string // the RP ID that it believes in
	flags     byte
	typ       string // of what it says that it does; "" for what it does
	cross     bool
	challenge string // in place of the one that it was asked; "" for that
	bogus     bool
}

const (
	present, verified, eligible, backedUp, attested = 0x01, 0x04, 0x08, 0x10, 0x40

	here = "https://board.larkfell.example"
	rpID = "board.larkfell.example"
)

func newDevice(t *testing.T) *device {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	id := make([]byte, 32)
	_, _ = rand.Read(id)
	return &device{t: t, id: id, key: key, origin: here, party: rpID, flags: present | verified}
}

func b64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// options are what a board asks of a browser.
type options struct {
	PublicKey struct {
		Challenge          string
		RpID               string
		Rp                 struct{ ID, Name string }
		User               struct{ ID, Name, DisplayName string }
		UserVerification   string
		ExcludeCredentials []struct{ ID string }
		AllowCredentials   []struct{ ID string }
		Timeout            int
		Attestation        string

		AuthenticatorSelection struct{ ResidentKey, UserVerification string }
	}
}

func (d *device) data(more byte) []byte {
	sum := sha256.Sum256([]byte(d.party))
	return binary.BigEndian.AppendUint32(append(sum[:], d.flags|more), d.count)
}

func (d *device) client(typ, challenge string) []byte {
	if d.typ != "" {
		typ = d.typ
	}
	if d.challenge != "" {
		challenge = d.challenge
	}
	body, err := json.Marshal(map[string]any{"type": typ, "challenge": challenge, "origin": d.origin, "crossOrigin": d.cross})
	if err != nil {
		d.t.Fatal(err)
	}
	return body
}

func (d *device) answer(response map[string]string) string {
	body, err := json.Marshal(map[string]any{"id": b64(d.id), "rawId": b64(d.id), "type": "public-key", "clientExtensionResults": map[string]any{}, "response": response})
	if err != nil {
		d.t.Fatal(err)
	}
	return string(body)
}

// make makes a passkey without attestation (8.7), in CBOR by hand.
func (d *device) make(o options) string {
	handle, err := base64.RawURLEncoding.DecodeString(o.PublicKey.User.ID)
	if err != nil {
		d.t.Fatal(err)
	}
	d.handle = handle
	pub, err := d.key.PublicKey.Bytes() // 04, x, y
	if err != nil {
		d.t.Fatal(err)
	}
	cose := slices.Concat([]byte{0xa5, 0x01, 0x02, 0x03, 0x26, 0x20, 0x01, 0x21, 0x58, 0x20}, pub[1:33], []byte{0x22, 0x58, 0x20}, pub[33:])
	data := slices.Concat(d.data(attested), make([]byte, 16), []byte{0, byte(len(d.id))}, d.id, cose)
	object := slices.Concat([]byte{0xa3, 0x63}, []byte("fmt"), []byte{0x64}, []byte("none"), []byte{0x67}, []byte("attStmt"), []byte{0xa0, 0x68}, []byte("authData"),
		[]byte{0x58, byte(len(data))}, data)
	return d.answer(map[string]string{"clientDataJSON": b64(d.client("webauthn.create", o.PublicKey.Challenge)), "attestationObject": b64(object)})
}

// show signs.
func (d *device) show(o options) string {
	d.count++
	data, client := d.data(0), d.client("webauthn.get", o.PublicKey.Challenge)
	hash := sha256.Sum256(client)
	sum := sha256.Sum256(append(slices.Clone(data), hash[:]...))
	if d.bogus {
		sum[0]++
	}
	signature, err := ecdsa.SignASN1(rand.Reader, d.key, sum[:])
	if err != nil {
		d.t.Fatal(err)
	}
	return d.answer(map[string]string{"clientDataJSON": b64(client), "authenticatorData": b64(data), "signature": b64(signature), "userHandle": b64(d.handle)})
}
