package fleet

import (
	"crypto"
	"crypto/hmac"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"math/big"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"telltale/engine/stream/sessions"
)

// liar is a provider, or somebody between, that makes tokens as a test wants them.
type liar struct {
	*httptest.Server
	key, other *rsa.PrivateKey
	nonce      string
	// token is what it gives for a code.
	token func(l *liar) string
	// also is what else it leads back with.
	also url.Values
}

func newLiar(t *testing.T) *liar {
	t.Helper()
	l := &liar{}
	for _, k := range []**rsa.PrivateKey{&l.key, &l.other} {
		made, err := rsa.GenerateKey(rand.Reader, 2048)
		if err != nil {
			t.Fatal(err)
		}
		*k = made
	}
	mux := http.NewServeMux()
	says := func(w http.ResponseWriter, v any) {
		w.Header().Set("Content-Type", "application/json")
		_ = json.NewEncoder(w).Encode(v) // who asked may take no more of it
	}
	mux.HandleFunc("/.well-known/openid-configuration", func(w http.ResponseWriter, _ *http.Request) {
		says(w, map[string]any{"issuer": l.URL, "authorization_endpoint": l.URL + "/a", "token_endpoint": l.URL + "/t", "jwks_uri": l.URL + "/k", "id_token_signing_alg_values_supported": []string{"RS256", "none", "HS256"}})
	})
	mux.HandleFunc("/k", func(w http.ResponseWriter, _ *http.Request) {
		says(w, map[string]any{"keys": []any{map[string]any{"kty": "RSA", "alg": "RS256", "use": "sig", "kid": "1", "n": b64(l.key.N.Bytes()), "e": b64(big.NewInt(int64(l.key.E)).Bytes())}}})
	})
	mux.HandleFunc("/a", func(w http.ResponseWriter, r *http.Request) {
		l.nonce = r.FormValue("nonce")
		v := url.Values{"state": {r.FormValue("state")}, "code": {"c"}}
		for k, all := range l.also {
			v[k] = all
		}
		http.Redirect(w, r, r.FormValue("redirect_uri")+"?"+v.Encode(), http.StatusFound)
	})
	mux.HandleFunc("/t", func(w http.ResponseWriter, _ *http.Request) {
		says(w, map[string]any{"access_token": "a", "token_type": "Bearer", "id_token": l.token(l)})
	})
	l.Server = httptest.NewServer(mux)
	t.Cleanup(l.Close)
	return l
}

func b64(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// claims are right ones, but for what is changed; nil takes one away.
func (l *liar) claims(kv ...any) map[string]any {
	c := map[string]any{"iss": l.URL, "aud": "telltale", "sub": "ines.thornbeck", "nonce": l.nonce, "iat": time.Now().Unix(), "exp": time.Now().Add(time.Hour).Unix(), "auth_time": time.Now().Unix()}
	for i := 0; i+1 < len(kv); i += 2 {
		if c[kv[i].(string)] = kv[i+1]; kv[i+1] == nil {
			delete(c, kv[i].(string))
		}
	}
	return c
}

func part(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err)
	}
	return b64(b)
}

// signed is a token of a head and claims, by a key.
func signed(key *rsa.PrivateKey, head map[string]any, claims any) string {
	text := part(head) + "." + part(claims)
	sum := sha256.Sum256([]byte(text))
	sig, err := rsa.SignPKCS1v15(nil, key, crypto.SHA256, sum[:])
	if err != nil {
		panic(err)
	}
	return text + "." + b64(sig)
}

var rs256 = map[string]any{"alg": "RS256", "kid": "1"}

// No token lets anybody in but the provider's own, for this service, for this sign-in, now
// (OpenID Connect Core 1.0, 3.1.3.7).
func TestForgedTokens(t *testing.T) {
	l := newLiar(t)
	w := theirWalk(t, l.URL)
	right := func(l *liar) string { return signed(l.key, rs256, l.claims()) }
	for name, token := range map[string]func(l *liar) string{
		"signed by nobody":          func(l *liar) string { return part(map[string]any{"alg": "none"}) + "." + part(l.claims()) + "." },
		"signed by nobody, written": func(l *liar) string { return part(map[string]any{"alg": "NONE"}) + "." + part(l.claims()) + "." },
		"signed by another":         func(l *liar) string { return signed(l.other, rs256, l.claims()) },
		"under another name of key": func(l *liar) string { return signed(l.other, map[string]any{"alg": "RS256", "kid": "2"}, l.claims()) },
		"that brings its key": func(l *liar) string {
			return signed(l.other, map[string]any{"alg": "RS256", "kid": "1", "jwk": map[string]any{"kty": "RSA", "n": b64(l.other.N.Bytes()), "e": "AQAB"}, "jku": l.URL + "/mine"}, l.claims())
		},
		"signed by the public key": func(l *liar) string {
			text := part(map[string]any{"alg": "HS256", "kid": "1"}) + "." + part(l.claims())
			mac := hmac.New(sha256.New, l.key.N.Bytes())
			mac.Write([]byte(text))
			return text + "." + b64(mac.Sum(nil))
		},
		"signed by our secret": func(l *liar) string {
			text := part(map[string]any{"alg": "HS256"}) + "." + part(l.claims())
			mac := hmac.New(sha256.New, []byte("the secret of the client"))
			mac.Write([]byte(text))
			return text + "." + b64(mac.Sum(nil))
		},
		"changed behind its signature": func(l *liar) string {
			p := strings.Split(right(l), ".")
			return p[0] + "." + part(l.claims("amr", []string{"mfa"})) + "." + p[2]
		},
		"of another issuer":   func(l *liar) string { return signed(l.key, rs256, l.claims("iss", "https://elsewhere.example")) },
		"of no issuer":        func(l *liar) string { return signed(l.key, rs256, l.claims("iss", nil)) },
		"for another service": func(l *liar) string { return signed(l.key, rs256, l.claims("aud", "another")) },
		"for no service":      func(l *liar) string { return signed(l.key, rs256, l.claims("aud", nil)) },
		"of another sign-in":  func(l *liar) string { return signed(l.key, rs256, l.claims("nonce", "x"+l.nonce)) },
		"of no sign-in":       func(l *liar) string { return signed(l.key, rs256, l.claims("nonce", nil)) },
		"that is over":        func(l *liar) string { return signed(l.key, rs256, l.claims("exp", time.Now().Add(-time.Hour).Unix())) },
		"without an end":      func(l *liar) string { return signed(l.key, rs256, l.claims("exp", nil)) },
		"not yet":             func(l *liar) string { return signed(l.key, rs256, l.claims("nbf", time.Now().Add(time.Hour).Unix())) },
		"of nobody":           func(l *liar) string { return signed(l.key, rs256, l.claims("sub", "")) },
		"without anybody":     func(l *liar) string { return signed(l.key, rs256, l.claims("sub", nil)) },
		"of somebody here":    func(l *liar) string { return signed(l.key, rs256, l.claims("sub", "ines")) },
		"of a mail address": func(l *liar) string {
			return signed(l.key, rs256, l.claims("sub", "x", "email", "ines@example.org", "preferred_username", "ines.thornbeck"))
		},
		"in another case":        func(l *liar) string { return signed(l.key, rs256, l.claims("sub", "INES.THORNBECK")) },
		"with a blank":           func(l *liar) string { return signed(l.key, rs256, l.claims("sub", "ines.thornbeck ")) },
		"none":                   func(*liar) string { return "" },
		"rubble":                 func(*liar) string { return "a.b.c" },
		"too much":               func(l *liar) string { return signed(l.key, rs256, l.claims("x", strings.Repeat("x", 4<<20))) },
		"a list in place of one": func(l *liar) string { return signed(l.key, rs256, []any{l.claims()}) },
	} {
		l.token = token
		if got := w.get(browser(t), Path); got.Code == 200 || len(w.begun) != 0 || strings.Contains(got.Body.String(), "secret") {
			t.Errorf("a token %s: %d, %+v\n%.400s", name, got.Code, w.begun, got.Body)
			w.begun = nil
		}
	}
	l.token, l.also = right, url.Values{"iss": {"https://elsewhere.example"}}
	_ = w.get(browser(t), Path) // what comes beside the code is not believed
	w.begun, l.also = nil, nil
	// Without the time of the sign-in, or with one to come, two factors are not believed.
	for name, c := range map[string]struct {
		claims []any
		strong bool
	}{
		"one factor": {nil, false}, "two": {[]any{"amr", []string{"mfa"}}, true}, "two, some time": {[]any{"amr", []string{"mfa"}, "auth_time", nil}, false},
		"two, tomorrow": {[]any{"amr", []string{"mfa"}, "auth_time", time.Now().Add(24 * time.Hour).Unix()}, false},
	} {
		l.token = func(l *liar) string { return signed(l.key, rs256, l.claims(c.claims...)) }
		if got := w.get(browser(t), Path); got.Code != 200 || len(w.begun) != 1 || w.begun[0].Who != "/people/ines" || w.begun[0].How != sessions.Fleet || w.begun[0].Strong.IsZero() == c.strong {
			t.Errorf("%s: %d, %+v\n%.400s", name, got.Code, w.begun, got.Body)
		}
		w.begun = nil
	}
}
