package server

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"telltale/testdata/quick"
)

// send publishes one event and returns once it is stored. Until then, keep the event and
// send it again: repetitions do no harm.
func send(ctx context.Context, url, seedFile, subject, id string, event []byte) error {
	key, err := nats.NkeyOptionFromSeed(seedFile) // what telltale programs add printed
	if err != nil {
		return err
	}
	refused := make(chan error, 1)
	nc, err := nats.Connect(url, key, nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
		if errors.Is(err, nats.ErrPermissionViolation) { // of which the publish itself hears nothing
			select {
			case refused <- err:
			default:
			}
		}
	}))
	if err != nil {
		return err
	}
	defer nc.Close()
	js, err := jetstream.New(nc)
	if err != nil {
		return err
	}
	if _, err = js.Publish(ctx, subject, event, jetstream.WithMsgID(id)); err == nil {
		return nil
	}
	select {
	case why := <-refused:
		return fmt.Errorf("people.yaml does not let this gateway send that; sending it again is of no use: %w", why)
	default:
		return err
	}
}

// TestSnippet runs the publisher that stands in the reference of events: what the gateway may
// send is stored, and what it may not send ends with the reason.
func TestSnippet(t *testing.T) {
	quick.Beside(t)
	own, err := os.ReadFile("snippet_test.go")
	if err != nil {
		t.Fatal(err)
	}
	page, err := os.ReadFile("../../intake/README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, code, _ := strings.Cut(string(page), "```go\n")
	if code, _, _ = strings.Cut(code, "```"); code == "" || !strings.Contains(string(own), code) {
		t.Errorf("the page has another publisher than the one that is tested here:\n%s", code)
	}
	g := newGateway(t, "gateway-3")
	srv := closedServer(t, t.TempDir(), &heardOf{}, g.may("telltale.in.van-1.reading"))
	seed, err := g.key.Seed()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "gateway-3.nk")
	if err := os.WriteFile(file, seed, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := send(t.Context(), srv.URL(), file, "telltale.in.van-1.reading", "/gateway/3/r-1", []byte("{}")); err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(t.Context(), time.Second)
	defer cancel()
	err = send(ctx, srv.URL(), file, "telltale.in.van-2.reading", "/gateway/3/r-2", []byte("{}"))
	if !errors.Is(err, nats.ErrPermissionViolation) || !strings.HasPrefix(err.Error(), "people.yaml does not let this gateway send that; sending it again is of no use: ") {
		t.Errorf("got %v", err)
	}
	if n := stored(t, srv); n != 1 {
		t.Errorf("%d events are stored", n)
	}
}
