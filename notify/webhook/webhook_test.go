package webhook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"time"

	standard "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"telltale/notify/delivery"
)

const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"

// The vector of Standard Webhooks' own libraries, and the specification's library
// as a second opinion.
func TestSign(t *testing.T) {
	key, err := Key(secret)
	if err != nil {
		t.Fatal(err)
	}
	at := time.Unix(1614265330, 0)
	got := Sign(key, "msg_p5jXN8AQM9LWM0D4loKWxJek", at, []byte(`{"test": 2432232314}`))
	if want := "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	wh, err := standard.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	for _, body := range []string{"", "{}", "ÿ\x00\r\n", strings.Repeat("a", 1<<16)} {
		if want, err := wh.Sign("alarm-1", at, []byte(body)); err != nil || Sign(key, "alarm-1", at, []byte(body)) != want {
			t.Errorf("%.20q: not as the library signs it (%v)", body, err)
		}
	}
}

func TestKey(t *testing.T) {
	for text, want := range map[string]string{
		"MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw": "a secret begins with whsec_",
		"whsec_***":                        "the secret after whsec_ is not base64",
		"whsec_YQ==":                       "the secret has 1 bytes; it must have from 24 to 64",
	} {
		if _, err := Key(text); err == nil || err.Error() != want {
			t.Errorf("%q: got %v, want %s", text, err, want)
		}
	}
}

func aDelivery(url string) delivery.Delivery {
	return delivery.Delivery{Key: "alarm-1", MessageID: "alarm-1", Person: "fleet", Way: "webhook", To: url, Raw: []byte(`{"specversion":"1.0"}`)}
}

func sender(allow ...string) *Sender {
	s := &Sender{Secret: func(string) (string, error) { return secret + "\n", nil }}
	for _, a := range allow {
		s.Allow = append(s.Allow, netip.MustParsePrefix(a))
	}
	return s
}

// A receiver that checks with the specification's library takes what is sent.
func TestReceived(t *testing.T) {
	wh, err := standard.NewWebhook(secret)
	if err != nil {
		t.Fatal(err)
	}
	var verified error
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		body, _ := io.ReadAll(r.Body)
		verified = wh.Verify(body, r.Header)
		if got := r.Header.Get("Content-Type"); got != "application/cloudevents+json; charset=utf-8" {
			t.Errorf("content type %q", got)
		}
	}))
	defer srv.Close()
	if err := sender("127.0.0.0/8").Send(t.Context(), aDelivery(srv.URL)); err != nil || verified != nil {
		t.Errorf("sending: %v; verifying: %v", err, verified)
	}
}

func TestAnswers(t *testing.T) {
	calls := 0
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		calls++
		var code int
		fmt.Sscanf(r.URL.Path, "/%d", &code)
		w.Header().Set("Location", "/200")
		w.Header().Set("Retry-After", r.URL.Query().Get("after"))
		w.WriteHeader(code)
		io.WriteString(w, strings.Repeat("secret inside ", 1<<14)) // far over what is read
	}))
	defer srv.Close()
	s := sender("127.0.0.0/8")
	for _, c := range []struct {
		path  string
		class delivery.Class
		wait  time.Duration
		says  string
	}{
		{"/302", delivery.Temporary, 0, "the receiver answered 302"},
		{"/429?after=120", delivery.Temporary, 2 * time.Minute, "the receiver answered 429"},
		{"/503?after=99999999", delivery.Temporary, 24 * time.Hour, "the receiver answered 503"},
		{"/500?after=-3", delivery.Temporary, 0, "the receiver answered 500"},
		{"/410", delivery.Permanent, 0, "the receiver answered 410"},
		{"/410", delivery.Permanent, 0, "the receiver answered 410 earlier and wants no more messages; give it another url in people.yaml"},
	} {
		err := s.Send(t.Context(), aDelivery(srv.URL+c.path))
		var f *delivery.Failure
		if !errors.As(err, &f) || f.Class != c.class || f.Wait != c.wait || f.Error() != c.says {
			t.Errorf("%s: got %+v", c.path, err)
		}
	}
	if calls != 5 {
		t.Errorf("%d calls, want 5: a redirect is not followed, and 410 ends it", calls)
	}
}

// A receiver that hangs is left when the service stops.
func TestHangs(t *testing.T) {
	begun, release := make(chan bool, 1), make(chan bool)
	srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { begun <- true; <-release }))
	defer srv.Close()
	defer close(release)
	ctx, cancel := context.WithCancel(t.Context())
	go func() { <-begun; cancel() }()
	if err := sender("127.0.0.0/8").Send(ctx, aDelivery(srv.URL)); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}

// Addresses inside are not reached, by whatever way they are written.
func TestGuard(t *testing.T) {
	reached := false
	srv := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { reached = true }))
	defer srv.Close()
	port := srv.URL[strings.LastIndex(srv.URL, ":"):]
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "0.0.0.0", "10.0.0.1", "192.168.1.1",
		"169.254.169.254", "100.64.0.1", "198.18.0.1", "240.0.0.1", "[64:ff9b::7f00:1]", "[2002:7f00:1::]", "[fe80::1]", "[fd00::1]"} {
		for _, scheme := range []string{"http://", "https://"} {
			if err := sender().Send(t.Context(), aDelivery(scheme+host+port)); err == nil {
				t.Errorf("%s%s was called", scheme, host)
			}
		}
	}
	if reached {
		t.Error("an address inside was reached")
	}
	for _, bad := range []string{"ftp://fleet.example/", "https://user@fleet.example/", ":"} {
		if err := sender().Send(t.Context(), aDelivery(bad)); err == nil || err.Error() != "the url cannot be called" {
			t.Errorf("%s: got %v", bad, err)
		}
	}
}

func TestNoSecret(t *testing.T) {
	s := &Sender{Secret: func(string) (string, error) { return "", errors.New("no such file") }}
	err := s.Send(t.Context(), aDelivery("https://fleet.example/"))
	if err == nil || err.Error() != `reading the secret of "fleet": no such file` {
		t.Errorf("got %v", err)
	}
}
