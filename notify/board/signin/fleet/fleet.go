// Package fleet signs people in at the fleet's own provider, by OpenID Connect Core 1.0
// with the authorization code flow and PKCE (RFC 7636).
//
// Who comes back is known by the provider's subject alone, which people.yaml names: an
// address or a name may be given to somebody else, a subject may not (Core, 5.7; ASVS
// 5.0.0, 6.8.1). Whoever has one there signs in there alone, so that who leaves the fleet's
// provider has left here too.
package fleet

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync/atomic"
	"time"

	"github.com/coreos/go-oidc/v3/oidc"
	"golang.org/x/oauth2"
	"golang.org/x/sync/singleflight"

	"telltale/engine/stream/sessions"
	"telltale/notify/board/frame"
	"telltale/notify/page"
	"telltale/notify/people"
	"telltale/notify/rights"
)

// Config is the fleet's provider, as telltale.yaml has it.
type Config struct {
	// Issuer is the provider's address, as its discovery document has it.
	Issuer string
	// Client and Secret are those that the provider gave this service.
	Client, Secret string
	// SecondFactor are the values of acr or amr by which the provider says that two factors
	// were shown; "mfa" of RFC 8176 where empty.
	SecondFactor []string
}

const (
	// Path is where the way to the provider begins.
	Path = frame.SignIn + "/fleet"
	back = Path + "/back"
	// within is how long the way to the provider and back may take.
	within = 10 * time.Minute
	// answers bounds how long the provider may take for one answer.
	answers = 10 * time.Second
	// skew is how far the provider's clock may be off.
	skew = time.Minute
)

// Begin begins the session of somebody who has signed in, and leads on.
type Begin func(ctx context.Context, r *frame.Request, s sessions.Session, to string) (*frame.Page, error)

// Way is the way in by the provider.
type Way struct {
	*frame.Frame
	config Config
	bucket *sessions.Bucket
	begin  Begin
	now    func() time.Time // on the wall, which the provider's tokens go by
	client *http.Client

	asking   singleflight.Group
	provider atomic.Pointer[oidc.Provider] // nil until it has answered once
}

// New is the way in; nil without a provider.
func New(f *frame.Frame, c Config, b *sessions.Bucket, begin Begin, now func() time.Time) *Way {
	if c.Issuer == "" {
		return nil
	}
	return &Way{Frame: f, config: c, bucket: b, begin: begin, now: now, client: &http.Client{Timeout: answers}}
}

// Routes are its two pages: there and back.
func (w *Way) Routes() []frame.Route {
	if w == nil {
		return nil
	}
	return []frame.Route{
		{Pattern: "GET " + Path, Needs: rights.Open, Handle: w.there},
		{Pattern: "GET " + back, Needs: rights.Open, Handle: w.back},
	}
}

// pending is a sign-in on its way, kept under the hash of its state.
type pending struct {
	// Browser is the hash of what the browser's cookie holds: the way back is that of the
	// browser that went, or somebody could have another signed in as themselves.
	Browser  string `json:"browser"`
	Nonce    string `json:"nonce"`
	Verifier string `json:"verifier"`
	To       string `json:"to"`
}

func key(state string) string { return "fleet." + sessions.Hash(state) }

// there leads to the provider.
func (w *Way) there(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	p, err := w.reach(ctx)
	if err != nil {
		return nil, w.away(err)
	}
	state, browser := sessions.Secret(), sessions.Secret()
	sent := pending{Browser: sessions.Hash(browser), Nonce: sessions.Secret(), Verifier: oauth2.GenerateVerifier(), To: r.FormValue("to")}
	now := w.now()
	if err := w.bucket.Create(ctx, key(state), sent, now, now.Add(within)); err != nil {
		return nil, err
	}
	opts := []oauth2.AuthCodeOption{oidc.Nonce(sent.Nonce), oauth2.S256ChallengeOption(sent.Verifier)}
	if r.FormValue("again") != "" { // whoever was signed in there long ago may sit elsewhere now
		opts = append(opts, oauth2.SetAuthURLParam("prompt", "login"), oauth2.SetAuthURLParam("max_age", "0"))
	} else { // with it the provider has to say when that was (Core, 2)
		opts = append(opts, oauth2.SetAuthURLParam("max_age", strconv.Itoa(int(sessions.WholePerson/time.Second))))
	}
	to := w.clientOf(p).AuthCodeURL(state, opts...)
	return &frame.Page{To: to, Header: http.Header{"Set-Cookie": {w.cookie(browser, int(within/time.Second))}}}, nil
}

// reach is the provider, asked for what it offers when somebody first signs in there: it may
// be away while the service starts.
func (w *Way) reach(ctx context.Context) (*oidc.Provider, error) {
	if p := w.provider.Load(); p != nil {
		return p, nil
	}
	ctx = oidc.ClientContext(context.WithoutCancel(ctx), w.client) // bounded by the client's own limit; others wait for the same answer
	p, err, _ := w.asking.Do("", func() (any, error) { return oidc.NewProvider(ctx, w.config.Issuer) })
	if err != nil {
		return nil, err
	}
	w.provider.Store(p.(*oidc.Provider))
	return w.provider.Load(), nil
}

// clientOf is this service as the provider knows it.
func (w *Way) clientOf(p *oidc.Provider) *oauth2.Config {
	return &oauth2.Config{ClientID: w.config.Client, ClientSecret: w.config.Secret, Endpoint: p.Endpoint(), RedirectURL: w.URL + back, Scopes: []string{oidc.ScopeOpenID}}
}

// away is what is said where the provider does not answer as it should.
func (w *Way) away(err error) error {
	w.Logger.Error("signing in at the fleet's provider", "issuer", w.config.Issuer, "error", err)
	return &frame.Fault{Status: http.StatusServiceUnavailable, Title: wordAway, Words: wordAwayDo, After: time.Minute}
}

// name is the cookie of a sign-in on its way.
func (w *Way) name() string {
	if strings.HasPrefix(w.URL, "https:") {
		return "__Host-telltale-fleet"
	}
	return "telltale-fleet"
}

func (w *Way) cookie(value string, age int) string {
	c := http.Cookie{Name: w.name(), Value: value, Path: "/", MaxAge: age, HttpOnly: true, Secure: strings.HasPrefix(w.URL, "https:"), SameSite: http.SameSiteLaxMode}
	return c.String()
}

// back is where the provider leads back to.
func (w *Way) back(ctx context.Context, r *frame.Request) (*frame.Page, error) {
	sent, err := w.taken(ctx, r)
	if err != nil {
		return nil, err
	}
	if why := r.FormValue("error"); why != "" {
		w.Logger.Warn("the fleet's provider refused a sign-in", "error", page.Clean(why, 80))
		return nil, &frame.Fault{Status: http.StatusForbidden, Title: wordRefused, Words: wordRefusedDo}
	}
	token, strong, err := w.exchanged(ctx, r.FormValue("code"), sent)
	if err != nil {
		return nil, w.away(err)
	}
	who := w.People().Subject(token.Subject)
	if who == nil {
		return nil, &frame.Fault{Status: http.StatusForbidden, Title: wordUnknown, Words: fmt.Sprintf(wordUnknownDo, page.Clean(token.Subject, 255))}
	}
	p, err := w.begin(ctx, r, sessions.Session{Who: "/people/" + who.ID, How: sessions.Fleet, Strong: strong}, sent.To)
	if err == nil {
		if p.Header == nil {
			p.Header = http.Header{}
		}
		p.Header.Add("Set-Cookie", w.cookie("", -1))
	}
	return p, err
}

// taken is the sign-in that comes back here, once.
func (w *Way) taken(ctx context.Context, r *frame.Request) (sent pending, err error) {
	over := &frame.Fault{Status: http.StatusForbidden, Title: wordOver, Words: wordOverDo}
	mark, err := w.bucket.Get(ctx, key(r.FormValue("state")), w.now(), &sent)
	if errors.Is(err, sessions.ErrNone) {
		return sent, over
	}
	if err != nil {
		return sent, err
	}
	c, err := r.Cookie(w.name())
	if err != nil || subtle.ConstantTimeCompare([]byte(sessions.Hash(c.Value)), []byte(sent.Browser)) != 1 {
		return sent, over
	}
	if err := w.bucket.Take(ctx, mark); errors.Is(err, sessions.ErrChanged) {
		return sent, over
	} else if err != nil {
		return sent, err
	}
	return sent, nil
}

// exchanged is the provider's token for a code, checked: signature, issuer, audience and end
// by the library (Core, 3.1.3.7), the nonce here. strong is when two factors were shown.
func (w *Way) exchanged(ctx context.Context, code string, sent pending) (_ *oidc.IDToken, strong time.Time, err error) {
	p, err := w.reach(ctx)
	if err != nil {
		return nil, strong, err
	}
	ctx, cancel := context.WithTimeout(oidc.ClientContext(ctx, w.client), answers)
	defer cancel()
	got, err := w.clientOf(p).Exchange(ctx, code, oauth2.VerifierOption(sent.Verifier))
	if err != nil {
		return nil, strong, withoutSecrets(err)
	}
	raw, _ := got.Extra("id_token").(string)
	token, err := p.Verifier(&oidc.Config{ClientID: w.config.Client, Now: w.now}).Verify(ctx, raw)
	if err != nil {
		return nil, strong, err
	}
	if subtle.ConstantTimeCompare([]byte(token.Nonce), []byte(sent.Nonce)) != 1 {
		return nil, strong, errors.New("the token is not the one that was asked for: another nonce")
	}
	var claims struct {
		At  int64    `json:"auth_time"`
		ACR string   `json:"acr"`
		AMR []string `json:"amr"`
	}
	if err := token.Claims(&claims); err != nil {
		return nil, strong, fmt.Errorf("reading the token: %w", err)
	}
	if w.twoFactors(claims.ACR, claims.AMR) {
		// Without a time of its own the sign-in may be of last week.
		if strong = time.Unix(claims.At, 0).UTC(); claims.At == 0 || strong.After(w.now().Add(skew)) {
			strong = time.Time{}
		}
	}
	return token, strong, nil
}

// withoutSecrets leaves out of an error what the provider answered: it may repeat what it was
// sent.
func withoutSecrets(err error) error {
	if e, ok := errors.AsType[*oauth2.RetrieveError](err); ok {
		return fmt.Errorf("the provider gave no token: %s, %q", e.Response.Status, e.ErrorCode)
	}
	return err
}

func (w *Way) twoFactors(acr string, amr []string) bool {
	want := w.config.SecondFactor
	if len(want) == 0 {
		want = []string{"mfa"}
	}
	return slices.Contains(want, acr) || slices.ContainsFunc(amr, func(s string) bool { return slices.Contains(want, s) })
}

// Theirs reports whether a person signs in at the provider alone.
func Theirs(p *people.Person) bool { return p.Subject != "" }
