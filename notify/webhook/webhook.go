// Package webhook calls other programs: signed as Standard Webhooks 1.0.0 asks,
// and guarded against reaching addresses inside.
package webhook

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"

	"code.dny.dev/ssrf"

	"telltale/notify/delivery"
)

const (
	// answerWithin bounds one call; the specification advises 15 to 30 s.
	answerWithin = 20 * time.Second
	maxAnswer    = 64 << 10
	// maxWait bounds what Retry-After may ask for.
	maxWait = 24 * time.Hour
)

// Sender calls webhooks. An endpoint that answers 410 is called no more.
type Sender struct {
	// Secret gives the signing secret of a person, as its file holds it.
	Secret func(person string) (string, error)
	// Allow are ranges inside that may be called all the same, in the clear too;
	// all other addresses must be public and be called by https.
	Allow []netip.Prefix

	once   sync.Once
	client *http.Client
	gone   sync.Map // URLs
}

// waits are those between calls, as Standard Webhooks 1.0.0 advises.
var waits = []time.Duration{5 * time.Second, 5 * time.Minute, 30 * time.Minute, 2 * time.Hour, 5 * time.Hour,
	10 * time.Hour, 14 * time.Hour, 20 * time.Hour, 24 * time.Hour}

// Way calls each receiver beside the others, and again by the specification's waits.
func (s *Sender) Way() delivery.Way {
	return delivery.Way{Sender: s, Waits: waits, Lane: func(to string) string {
		u, err := url.Parse(to)
		if err != nil {
			return ""
		}
		return u.Host
	}}
}

// Disable has an endpoint called no more, as after a 410.
func (s *Sender) Disable(url string) { s.gone.Store(url, true) }

// Send calls d.To with the stored body. The identity is the delivery's on every
// try; the time is that of the try.
func (s *Sender) Send(ctx context.Context, d delivery.Delivery) error {
	s.once.Do(s.init)
	if _, gone := s.gone.Load(d.To); gone {
		return &delivery.Failure{Class: delivery.Permanent, Gone: true, Err: errors.New("the receiver answered 410 earlier and wants no more messages; give it another url in people.yaml")}
	}
	secret, err := s.Secret(d.Person)
	var key []byte
	if err == nil {
		key, err = Key(secret)
	}
	if err != nil {
		// Not held as our own fault: the calls to others must go out.
		return fmt.Errorf("reading the secret of %q: %w", d.Person, err)
	}
	ctx, cancel := context.WithTimeout(ctx, answerWithin)
	defer cancel()
	req, err := http.NewRequest(http.MethodPost, d.To, bytes.NewReader(d.Raw))
	if err != nil || req.URL.User != nil || req.URL.Scheme != "https" && req.URL.Scheme != "http" {
		return &delivery.Failure{Class: delivery.Permanent, Err: errors.New("the url cannot be called")}
	}
	req = req.WithContext(context.WithValue(ctx, scheme{}, req.URL.Scheme))
	now := time.Now()
	req.Header.Set("Content-Type", "application/cloudevents+json; charset=utf-8")
	req.Header.Set("User-Agent", "telltale")
	req.Header.Set("webhook-id", d.MessageID)
	req.Header.Set("webhook-timestamp", strconv.FormatInt(now.Unix(), 10))
	req.Header.Set("webhook-signature", Sign(key, d.MessageID, now, d.Raw))
	resp, err := s.client.Do(req)
	if err != nil {
		return fmt.Errorf("calling: %w", err)
	}
	defer resp.Body.Close()
	io.Copy(io.Discard, io.LimitReader(resp.Body, maxAnswer)) // what it says is not for people to see
	return s.judge(resp, d.To, now)
}

// judge classes an answer: 2xx alone is success, and a redirect is not followed.
func (s *Sender) judge(resp *http.Response, to string, now time.Time) error {
	err := fmt.Errorf("the receiver answered %d", resp.StatusCode)
	switch code := resp.StatusCode; {
	case code >= 200 && code < 300:
		return nil
	case code == http.StatusGone:
		s.Disable(to)
		return &delivery.Failure{Class: delivery.Permanent, Gone: true, Err: err}
	}
	return &delivery.Failure{Class: delivery.Temporary, Wait: retryAfter(resp.Header.Get("Retry-After"), now), Err: err}
}

// retryAfter reads seconds or a date, at most a day; 0 where there is none.
func retryAfter(s string, now time.Time) time.Duration {
	if n, err := strconv.Atoi(s); err == nil && n > 0 {
		return time.Duration(min(n, int(maxWait/time.Second))) * time.Second
	}
	if t, err := http.ParseTime(s); err == nil {
		return min(max(t.Sub(now), 0), maxWait)
	}
	return 0
}

// scheme is the context's key for how the call goes out.
type scheme struct{}

// init makes the client: no proxy, no redirects, no connection kept, and every
// address looked at when it is dialled, after its name was resolved.
func (s *Sender) init() {
	is4 := func(p netip.Prefix) bool { return p.Addr().Is4() }
	v6 := slices.DeleteFunc(slices.Clone(s.Allow), is4)
	v4 := slices.DeleteFunc(slices.Clone(s.Allow), func(p netip.Prefix) bool { return !is4(p) })
	public := ssrf.New(ssrf.WithAnyPort(), ssrf.WithAllowedV4Prefixes(v4...), ssrf.WithAllowedV6Prefixes(v6...))
	dialer := &net.Dialer{Timeout: 10 * time.Second, ControlContext: func(ctx context.Context, network, address string, c syscall.RawConn) error {
		if ctx.Value(scheme{}) == "http" && !s.allowed(address) {
			return errors.New("http is for allowed ranges alone; use https")
		}
		return public.Safe(network, address, c)
	}}
	s.client = &http.Client{
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{DialContext: dialer.DialContext, DisableKeepAlives: true, MaxResponseHeaderBytes: maxAnswer,
			TLSHandshakeTimeout: 10 * time.Second, ResponseHeaderTimeout: answerWithin},
	}
}

func (s *Sender) allowed(address string) bool {
	at, err := netip.ParseAddrPort(address)
	return err == nil && slices.ContainsFunc(s.Allow, func(p netip.Prefix) bool { return p.Contains(at.Addr().Unmap()) })
}

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
