package language

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"
)

// TestNoMessages: what is no message, or says that it is longer than any, ends the talk.
func TestNoMessages(t *testing.T) {
	for _, text := range []string{
		"", "hello\r\n\r\n", "Content-Length: -1\r\n\r\n{}", "Content-Length: 99999999999999\r\n\r\n{}",
		"Content-Length: 1e3\r\n\r\n{}", "Content-Length: 9\r\n\r\n{}", "\x00\xff\r\n\r\n",
	} {
		ended := make(chan bool)
		go func() {
			ended <- Run(context.Background(), strings.NewReader(text), discard{io.Discard}, "1", nil)
		}()
		select {
		case inOrder := <-ended:
			if inOrder {
				t.Errorf("%q: in order", text)
			}
		case <-time.After(10 * time.Second):
			t.Fatalf("%q: it goes on", text)
		}
	}
}

type discard struct{ io.Writer }

func (discard) Close() error { return nil }
