package browser

import (
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"
)

// Device is a device that holds passkeys for a tab: the browser's own virtual authenticator,
// as WebAuthn level 3 has it in section 11.
type Device struct {
	b  *Tab
	id webauthn.AuthenticatorID
}

// Device gives the tab one that asks who somebody is, and is told that it is they.
func (b *Tab) Device() *Device {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, webauthn.Enable, webauthn.EnableParams{})
	b.must(err)
	r, err := chromedp.Call(b.ctx, webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: webauthn.AuthenticatorProtocolCtap2, Ctap2version: webauthn.Ctap2versionCtap21, Transport: webauthn.AuthenticatorTransportInternal,
		HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true,
	}})
	b.must(err)
	return &Device{b, r.AuthenticatorID}
}

// Verifies says whether whoever holds it is who they should be.
func (d *Device) Verifies(ok bool) {
	d.b.t.Helper()
	_, err := chromedp.Call(d.b.ctx, webauthn.SetUserVerified, webauthn.SetUserVerifiedParams{AuthenticatorID: d.id, IsUserVerified: ok})
	d.b.must(err)
}

// Forges has it sign wrongly, or say that it asked nobody who they are.
func (d *Device) Forges(signature, unverified bool) {
	d.b.t.Helper()
	_, err := chromedp.Call(d.b.ctx, webauthn.SetResponseOverrideBits, webauthn.SetResponseOverrideBitsParams{
		AuthenticatorID: d.id, IsBogusSignature: &signature, IsBadUV: &unverified})
	d.b.must(err)
}

// Passkeys are those that it holds.
func (d *Device) Passkeys() []*webauthn.Credential {
	d.b.t.Helper()
	r, err := chromedp.Call(d.b.ctx, webauthn.GetCredentials, webauthn.GetCredentialsParams{AuthenticatorID: d.id})
	d.b.must(err)
	return r.Credentials
}

// put is the command of that name with what a copy needs: cdproto sends more, which the
// browser refuses.
var put = cdp.Command[putParams, cdp.Empty]{Method: webauthn.CommandAddCredential}

type putParams struct {
	AuthenticatorID webauthn.AuthenticatorID `json:"authenticatorId"`
	Credential      struct {
		CredentialID         []byte  `json:"credentialId"`
		IsResidentCredential bool    `json:"isResidentCredential"`
		RpID                 string  `json:"rpId"`
		PrivateKey           []byte  `json:"privateKey"`
		UserHandle           []byte  `json:"userHandle"`
		SignCount            float64 `json:"signCount"`
	} `json:"credential"`
}

// Put copies a passkey to the device, with as many signatures as it has counted.
func (d *Device) Put(c *webauthn.Credential) {
	d.b.t.Helper()
	p := putParams{AuthenticatorID: d.id}
	p.Credential.CredentialID, p.Credential.IsResidentCredential, p.Credential.RpID = c.CredentialID, true, c.RpID
	p.Credential.PrivateKey, p.Credential.UserHandle, p.Credential.SignCount = c.PrivateKey, c.UserHandle, c.SignCount
	_, err := chromedp.Call(d.b.ctx, put, p)
	d.b.must(err)
}

// Cookie gives the tab a cookie for an address.
func (b *Tab) Cookie(url, name, value string) {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, network.SetCookie, network.SetCookieParams{Name: name, Value: value, URL: url, HTTPOnly: new(true), SameSite: network.CookieSameSiteLax})
	b.must(err)
}

// Forget has the tab forget all cookies.
func (b *Tab) Forget() {
	b.t.Helper()
	_, err := chromedp.Call(b.ctx, network.ClearBrowserCookies, cdp.Empty{})
	b.must(err)
}
