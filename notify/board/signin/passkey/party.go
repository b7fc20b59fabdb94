package passkey

import (
	"net"
	"net/url"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/webauthn"
)

// Party is the board as passkeys know it. A browser binds a passkey to it (WebAuthn level 3,
// 13.4.9), so a page that only looks like the board gets none.
type Party struct {
	*webauthn.WebAuthn
	// Origin is where the board is reached, as browsers write it: "https://board.example.org".
	Origin string
}

// PartyOf is the board at an address. Where it can have no passkeys, why says so, and what
// to do, for whoever runs the service.
func PartyOf(address string) (p *Party, why string) {
	u, err := url.Parse(address)
	if address == "" || err != nil || u.Host == "" {
		return nil, whyNoAddress
	}
	host := u.Hostname()
	switch {
	case net.ParseIP(host) != nil:
		return nil, whyNumbers
	case u.Scheme != "https" && host != "localhost":
		return nil, whyNoTLS
	}
	origin := u.Scheme + "://" + u.Host
	required := true
	w, err := webauthn.New(&webauthn.Config{
		RPID: host, RPDisplayName: "Telltale", RPOrigins: []string{origin},
		// Which maker's device it is, is nobody's concern here.
		AttestationPreference: protocol.PreferNoAttestation,
		// The device keeps who the passkey is of, so nobody types a name; and it asks for a PIN, a
		// finger or a face, so that a stolen one opens nothing: two factors (NIST SP 800-63B).
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			ResidentKey: protocol.ResidentKeyRequirementRequired, RequireResidentKey: &required, UserVerification: protocol.VerificationRequired,
		},
		Timeouts: webauthn.TimeoutsConfig{Login: webauthn.TimeoutConfig{Timeout: answers}, Registration: webauthn.TimeoutConfig{Timeout: answers}},
	})
	if err != nil {
		return nil, whyOdd
	}
	return &Party{w, origin}, ""
}
